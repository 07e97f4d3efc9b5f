import { createHash, randomBytes } from 'node:crypto';
import { isIP } from 'node:net';
import type { NextFunction, Request, RequestHandler, Response } from 'express';
import { ProblemError } from './api/problem.ts';
import { LOCAL_OWNER } from './owner.ts';
import type { Services } from './services.ts';

/** Who sent a request; kept in `res.locals.visitor`. */
export interface Visitor {
  ownerId: string;
  /** Sits at the computer that runs the program. */
  isHost: boolean;
}

export const SESSION_COOKIE = 'swatch_gauge_phone';

export const visitorOf = (res: Response): Visitor => {
  const { visitor } = res.locals as { visitor?: Visitor };
  if (!visitor) throw new ProblemError('sign-in');
  return visitor;
};

/**
 * Finds out who sent the request: the computer itself, a phone that was paired with it, or a stranger
 * (`res.locals.visitor` stays unset).
 *
 * A request counts as the computer's own when it came over the loopback interface, addressed to it by a
 * loopback name (another name pointing at 127.0.0.1 is how a foreign page would get in), and not through a
 * proxy.
 */
export function identify({ database }: Services): RequestHandler {
  return async (req, res, next) => {
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

/** Refuses changes asked for by other sites: they cannot send this header without asking first. */
export function requireOwnPage(req: Request, _res: Response, next: NextFunction): void {
  const changes = !['GET', 'HEAD', 'OPTIONS'].includes(req.method);
  const site = req.get('sec-fetch-site');
  if (changes && (req.get('x-swatch-gauge') !== '1' || site === 'cross-site')) {
    throw new ProblemError('not-from-our-page');
  }
  next();
}

export const newSecret = (bytes: number): string => randomBytes(bytes).toString('base64url');
export const hashSecret = (secret: string): string => createHash('sha256').update(secret).digest('base64url');

function isFromHost(req: Request): boolean {
  const isProxied = ['forwarded', 'x-forwarded-for', 'x-real-ip', 'via'].some((name) => name in req.headers);
  return (
    !isProxied && isLoopbackAddress(req.socket.remoteAddress ?? '') && isLoopbackName(req.get('host') ?? '')
  );
}

function isLoopbackName(host: string): boolean {
  const name = host.replace(/:\d+$/, '').toLowerCase();
  return name === 'localhost' || name === '[::1]' || (isIP(name) === 4 && name.startsWith('127.'));
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
