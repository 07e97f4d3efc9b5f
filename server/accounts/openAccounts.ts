import { randomUUID } from 'node:crypto';
import type { BetterAuthOptions } from 'better-auth';
import type { Kysely } from 'kysely';
import { ProblemError } from '../api/problem.ts';
import type { Tables } from '../storage/tables.ts';
import { spendOneTimePassword } from './oneTimePassword.ts';
import { ACCOUNT_NAME, LONGEST_PASSWORD, SHORTEST_PASSWORD } from './limits.ts';
import { normalName } from './normalName.ts';

/** One maker of a hosted server; `id` owns her pieces and photos. */
export interface Account {
  id: string;
  /** As it is compared: lower case, compatibility forms composed (NFKC). */
  name: string;
}

/** What an entry through the door gives: who came in, and the `Set-Cookie` lines to answer with. */
export interface SignedIn {
  account: Account;
  cookies: string[];
}

/**
 * The accounts of a hosted server: a name and a password, no e-mail. Passwords are kept as scrypt hashes,
 * sessions in the database; a cookie is worth nothing without the server's secret, which is not in there.
 */
export interface Accounts {
  /** @throws ProblemError `name-taken`, `fields-invalid` */
  create(entry: { name: string; password: string }): Promise<SignedIn>;
  /** @throws ProblemError `wrong-password`, which also stands for a name that is not there, and a spent one-time password */
  signIn(entry: { name: string; password: string }): Promise<SignedIn>;
  /**
   * Whose session a request's `Cookie` header carries.
   *
   * @returns null for a stranger; `cookies` is not empty when the session was prolonged
   */
  find(cookie: string): Promise<SignedIn | null>;
  /** Changes the password and ends every other session. @throws ProblemError `wrong-password` */
  changePassword(cookie: string, change: { password: string; newPassword: string }): Promise<string[]>;
  /** @throws ProblemError `wrong-password` */
  checkPassword(cookie: string, password: string): Promise<void>;
  /** Ends the session. @returns the lines that clear its cookies */
  signOut(cookie: string): Promise<string[]>;
}

const SESSION_SECONDS = 30 * 86_400;
const DAY_SECONDS = 86_400;

/**
 * Opens the accounts of a server that many makers share.
 *
 * @param options.address where makers reach the server, for instance `https://gauge.example`
 * @param options.secret signs the cookies; at least 32 characters
 */
export async function openAccounts(
  db: Kysely<Tables>,
  options: { address: string; secret: string },
): Promise<Accounts> {
  // Loaded here, because on a maker's own computer nobody signs in.
  const { betterAuth } = await import('better-auth');
  const { username } = await import('better-auth/plugins/username');
  const { isAPIError } = await import('better-auth/api');
  const auth = betterAuth({
    ...settings(db, options),
    plugins: [
      username({
        displayUsername: false,
        minUsernameLength: 2,
        maxUsernameLength: 40,
        usernameNormalization: normalName,
        usernameValidator: (name) => ACCOUNT_NAME.test(name),
      }),
    ],
  });
  const accountOf = ({ id, username: name }: { id: string; username?: string | null }): Account => ({
    id,
    name: name ?? '',
  });
  const headersOf = (cookie: string): Headers => new Headers({ cookie });

  /** The library's refusals in our own words; what it did not foresee stays a fault. */
  const asProblem = (error: unknown): unknown => {
    if (!isAPIError(error)) return error;
    const code = (error.body as { code?: string } | undefined)?.code ?? '';
    if (code.startsWith('USERNAME_IS_ALREADY_TAKEN') || code.startsWith('USER_ALREADY_EXISTS')) {
      return new ProblemError('name-taken');
    }
    if (
      code === 'INVALID_USERNAME_OR_PASSWORD' ||
      code === 'INVALID_PASSWORD' ||
      code === 'INVALID_USERNAME'
    ) {
      return new ProblemError('wrong-password');
    }
    // Which it says when it could not ask the database.
    if (code === 'FAILED_TO_GET_SESSION' && error.statusCode === 500)
      return new ProblemError('database-away');
    if (code.startsWith('USERNAME_TOO_')) return new ProblemError('wrong-password'); // nobody has such a name
    if (error.statusCode === 401) return new ProblemError('sign-in');
    return error.statusCode < 500 ? new ProblemError('fields-invalid') : error;
  };
  const asking = async <T>(work: () => Promise<T>): Promise<T> => {
    try {
      return await work();
    } catch (error) {
      throw asProblem(error);
    }
  };

  return {
    create: ({ name, password }) =>
      asking(async () => {
        // The library wants an address of everybody; `.invalid` (RFC 2606) can never be written to.
        const email = `${randomUUID()}@accounts.invalid`;
        const body = { name, username: name, email, password };
        const { headers, response } = await auth.api
          .signUpEmail({ body, returnHeaders: true })
          .catch((error: unknown) => {
            // Two at once under one name: the database lets one in.
            const isTaken = /accounts_username_key|duplicate key/.test(String((error as Error).message));
            throw isTaken ? new ProblemError('name-taken') : error;
          });
        return { account: accountOf(response.user), cookies: headers.getSetCookie() };
      }),
    signIn: ({ name, password }) =>
      asking(async () => {
        const { headers, response } = await auth.api.signInUsername({
          body: { username: name, password },
          returnHeaders: true,
        });
        if (!(await spendOneTimePassword(db, response.user.id))) {
          await db.deleteFrom('sessions').where('token', '=', response.token).execute();
          throw new ProblemError('wrong-password');
        }
        return { account: accountOf(response.user), cookies: headers.getSetCookie() };
      }),
    find: (cookie) =>
      asking(async () => {
        const { headers, response } = await auth.api.getSession({
          headers: headersOf(cookie),
          returnHeaders: true,
        });
        if (!response) return null;
        return { account: accountOf(response.user), cookies: headers.getSetCookie() };
      }),
    changePassword: (cookie, { password, newPassword }) =>
      asking(async () => {
        const { headers } = await auth.api.changePassword({
          body: { currentPassword: password, newPassword, revokeOtherSessions: true },
          headers: headersOf(cookie),
          returnHeaders: true,
        });
        return headers.getSetCookie();
      }),
    checkPassword: (cookie, password) =>
      asking(async () => {
        await auth.api.verifyPassword({ body: { password }, headers: headersOf(cookie) });
      }),
    signOut: (cookie) =>
      asking(async () => {
        const { headers } = await auth.api.signOut({ headers: headersOf(cookie), returnHeaders: true });
        return headers.getSetCookie();
      }),
  };
}

function settings(
  db: Kysely<Tables>,
  { address, secret }: { address: string; secret: string },
): BetterAuthOptions {
  const times = { createdAt: 'created_at', updatedAt: 'updated_at' };
  return {
    baseURL: address,
    secret,
    database: { db, type: 'postgres', transaction: true },
    telemetry: { enabled: false },
    logger: { disabled: true }, // it would write names
    emailAndPassword: {
      enabled: true,
      minPasswordLength: SHORTEST_PASSWORD,
      maxPasswordLength: LONGEST_PASSWORD,
    },
    user: { modelName: 'accounts', fields: { emailVerified: 'email_verified', ...times } },
    session: {
      modelName: 'sessions',
      fields: {
        expiresAt: 'expires_at',
        userId: 'account_id',
        ipAddress: 'ip_address',
        userAgent: 'user_agent',
        ...times,
      },
      expiresIn: SESSION_SECONDS,
      updateAge: DAY_SECONDS,
    },
    account: {
      modelName: 'credentials',
      fields: {
        accountId: 'credential_of',
        providerId: 'provider',
        userId: 'account_id',
        accessToken: 'access_token',
        refreshToken: 'refresh_token',
        idToken: 'id_token',
        accessTokenExpiresAt: 'access_token_expires_at',
        refreshTokenExpiresAt: 'refresh_token_expires_at',
        ...times,
      },
    },
    verification: { modelName: 'verifications', fields: { expiresAt: 'expires_at', ...times } },
    advanced: {
      cookiePrefix: 'swatch_gauge',
      useSecureCookies: address.startsWith('https:'),
      defaultCookieAttributes: { sameSite: 'strict', httpOnly: true },
      database: { generateId: 'uuid' },
      ipAddress: { disableIpTracking: true },
    },
  };
}
