import { createHash, randomBytes } from 'node:crypto';
import type { NextFunction, Request, RequestHandler, Response } from 'express';
import type { Account, Accounts } from './accounts/openAccounts.ts';
import { ProblemError } from './api/problem.ts';
import { isLoopbackName } from './config.ts';
import { LOCAL_OWNER } from './owner.ts';
import type { Services } from './services.ts';

/** Who sent a request; kept in `res.locals.visitor`. */
export interface Visitor {
  ownerId: string;
  /** Sits at the computer that runs the program. */
  isHost: boolean;
  /** Whose account it is, on a hosted server. */
  account?: Account;
}

export const SESSION_COOKIE = 'swatch_gauge_phone';

export const visitorOf = (res: Response): Visitor => {
  const { visitor } = res.locals as { visitor?: Visitor };
  if (!visitor) throw new ProblemError('sign-in');
  return visitor;
};

/**
 * Finds out who sent the request: the computer itself, a phone that was paired with it, or a stranger
 * (`res.locals.visitor` stays unset). On a hosted server it is whoever is signed in, or a stranger: there even
 * the computer itself is nobody's.
 *
 * A request counts as the computer's own when it came over the loopback interface, addressed to it by a
 * loopback name (another name pointing at 127.0.0.1 is how a foreign page would get in), and not through a
 * proxy.
 */
export function identify({ database }: Services, accounts: Accounts | null): RequestHandler {
  return async (req, res, next) => {
    if (accounts) {
      const cookie = req.get('cookie');
      const entered = cookie ? await accounts.find(cookie) : null;
      if (entered) {
        const { account, cookies } = entered;
        res.locals.visitor = { ownerId: account.id, isHost: false, account } satisfies Visitor;
        if (cookies.length > 0) res.append('Set-Cookie', cookies);
      }
      return next();
    }
    if (isFromHost(req)) {
      res.locals.visitor = { ownerId: LOCAL_OWNER, isHost: true } satisfies Visitor;
      return next();
    }
    const token = readCookie(req, SESSION_COOKIE);
    if (token) {
      const phone = await database.db
        .selectFrom('pairings')
        .select('owner_id')
        .where('session_hash', '=', hashSecret(token))
        .where('expires_at', '>', new Date())
        .executeTakeFirst();
      if (phone) res.locals.visitor = { ownerId: phone.owner_id, isHost: false } satisfies Visitor;
    }
    next();
  };
}

/** Lets only known visitors pass. */
export function requireVisitor(_req: Request, res: Response, next: NextFunction): void {
  visitorOf(res);
  next();
}

/** Lets only the computer itself pass. */
export function requireHost(_req: Request, res: Response, next: NextFunction): void {
  if (!visitorOf(res).isHost) throw new ProblemError('host-only');
  next();
}

/** Lets only the computer itself pass, which needs no account for this. */
export function requireOperator(req: Request, res: Response, next: NextFunction): void {
  if (!isFromHost(req)) {
    visitorOf(res);
    throw new ProblemError('host-only');
  }
  next();
}

/**
 * Refuses changes asked for by other sites: they cannot send this header without asking first, and a browser
 * says whose page is asking.
 *
 * @param ownOrigin of a hosted server, for instance `https://gauge.example`
 */
export function requireOwnPage(ownOrigin: string | null): RequestHandler {
  return (req, _res, next) => {
    if (['GET', 'HEAD', 'OPTIONS'].includes(req.method)) return next();
    const site = req.get('sec-fetch-site');
    const origin = req.get('origin');
    const isForeign =
      (site !== undefined && site !== 'same-origin' && site !== 'none') ||
      (ownOrigin !== null && origin !== undefined && origin !== ownOrigin);
    if (req.get('x-swatch-gauge') !== '1' || isForeign) throw new ProblemError('not-from-our-page');
    next();
  };
}

export const newSecret = (bytes: number): string => randomBytes(bytes).toString('base64url');
export const hashSecret = (secret: string): string => createHash('sha256').update(secret).digest('base64url');

function isFromHost(req: Request): boolean {
  const isProxied = ['forwarded', 'x-forwarded-for', 'x-real-ip', 'via'].some((name) => name in req.headers);
  return (
    !isProxied &&
    isLoopbackAddress(req.socket.remoteAddress ?? '') &&
    isLoopbackName((req.get('host') ?? '').replace(/:\d+$/, ''))
  );
}

export function isLoopbackAddress(address: string): boolean {
  return address === '::1' || /^(::ffff:)?127\./.test(address);
}

function readCookie(req: Request, name: string): string | null {
  for (const part of (req.get('cookie') ?? '').split(';')) {
    const [key, value] = part.trim().split('=', 2);
    if (key === name && value) return value;
  }
  return null;
}
