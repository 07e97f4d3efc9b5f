import { timingSafeEqual } from 'node:crypto';
import { Router, type Request, type RequestHandler, type Response } from 'express';
import { ipKeyGenerator, rateLimit } from 'express-rate-limit';
import { hashSecret, visitorOf } from '../access.ts';
import { AttemptStore } from '../accounts/attemptStore.ts';
import { normalName } from '../accounts/normalName.ts';
import type { Account, Accounts, SignedIn } from '../accounts/openAccounts.ts';
import { removeAccount } from '../accounts/removeAccount.ts';
import { ProblemError } from '../api/problem.ts';
import {
  accountCreateSchema,
  accountDeleteSchema,
  passwordChangeSchema,
  signInSchema,
} from '../api/schemas.ts';
import type { Services } from '../services.ts';

const QUARTER_MS = 15 * 60_000;
const HOUR_MS = 60 * 60_000;
/** Passwords that may be tried in a quarter of an hour: for one name from one address, for one name, from one address. */
const TRIES = { nameFromAddress: 10, name: 100, address: 50 };
/** Accounts that one address may make in an hour: a class that sits behind one router. */
const NEW_ACCOUNTS = 30;

/** The door of a hosted server: make an account, sign in and out, change the password, leave for good. */
export function accountRoutes(services: Services, accounts: Accounts | null): Router {
  const { config, database } = services;
  const router = Router();
  const requireAccounts = (): Accounts => {
    if (!accounts) throw new ProblemError('no-accounts');
    return accounts;
  };
  const hostedOnly: RequestHandler = (_req, _res, next) => {
    requireAccounts();
    next();
  };

  const slowly = (
    name: string,
    windowMs: number,
    limit: number,
    keyOf: (req: Request, res: Response) => string,
  ): RequestHandler =>
    rateLimit({
      windowMs,
      limit,
      store: new AttemptStore(database.db, name),
      keyGenerator: keyOf,
      standardHeaders: 'draft-8',
      legacyHeaders: false,
      handler: () => {
        throw new ProblemError('too-many-requests', { retryAfterSeconds: Math.ceil(windowMs / 1000) });
      },
    });
  const addressOf = (req: Request): string => ipKeyGenerator(req.ip ?? '');
  const nameIn = (req: Request): string => {
    const { name } = (req.body ?? {}) as { name?: unknown };
    return typeof name === 'string' ? normalName(name.trim().slice(0, 80)) : '';
  };
  const slowGuessing = [
    slowly('sign-in address', QUARTER_MS, TRIES.address, addressOf),
    slowly('sign-in name', QUARTER_MS, TRIES.name, nameIn),
    slowly('sign-in', QUARTER_MS, TRIES.nameFromAddress, (req) => `${addressOf(req)} ${nameIn(req)}`),
  ];
  const ownTries = slowly(
    'own password',
    QUARTER_MS,
    TRIES.nameFromAddress,
    (_req, res) => visitorOf(res).ownerId,
  );

  const letIn = (res: Response, status: number, { account, cookies }: SignedIn): void => {
    res.append('Set-Cookie', cookies);
    res.status(status).json({ name: account.name });
  };
  const ownAccount = (res: Response): Account => {
    const { account } = visitorOf(res);
    if (!account) throw new ProblemError('sign-in');
    return account;
  };
  const cookieOf = (req: Request): string => req.get('cookie') ?? '';

  router.post(
    '/account',
    hostedOnly,
    slowly('new account', HOUR_MS, NEW_ACCOUNTS, addressOf),
    async (req, res) => {
      const { name, password, invitation } = accountCreateSchema.parse(req.body);
      if (config.invitation !== null && !isSame(invitation, config.invitation)) {
        throw new ProblemError('wrong-invitation');
      }
      letIn(res, 201, await requireAccounts().create({ name, password }));
    },
  );

  router.post('/sign-in', hostedOnly, slowGuessing, async (req: Request, res: Response) => {
    letIn(res, 200, await requireAccounts().signIn(signInSchema.parse(req.body)));
  });

  router.post('/sign-out', hostedOnly, async (req, res) => {
    ownAccount(res);
    res.append('Set-Cookie', await requireAccounts().signOut(cookieOf(req)));
    res.status(204).end();
  });

  router.patch('/account', hostedOnly, ownTries, async (req: Request, res: Response) => {
    ownAccount(res);
    const change = passwordChangeSchema.parse(req.body);
    res.append('Set-Cookie', await requireAccounts().changePassword(cookieOf(req), change));
    res.status(204).end();
  });

  router.delete('/account', hostedOnly, ownTries, async (req: Request, res: Response) => {
    const { id } = ownAccount(res);
    const { password } = accountDeleteSchema.parse(req.body);
    await requireAccounts().checkPassword(cookieOf(req), password);
    const clearing = await requireAccounts().signOut(cookieOf(req));
    await removeAccount(services, id);
    res.append('Set-Cookie', clearing);
    res.status(204).end();
  });
  return router;
}

/** Compares in a time that does not tell how much was right. */
const isSame = (one: string, other: string): boolean =>
  timingSafeEqual(Buffer.from(hashSecret(one)), Buffer.from(hashSecret(other)));
