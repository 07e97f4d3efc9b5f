import { randomInt } from 'node:crypto';
import { sql, type Kysely } from 'kysely';
import type { Tables } from '../storage/tables.ts';
import { normalName } from './normalName.ts';

/** No vowels (no words) and nothing that looks like something else, because it is read aloud or typed. */
const LETTERS = '23456789bcdfghjkmnpqrstvwxyz';
/** 28^16 passwords: 76 bits. */
const GROUPS = 4;
const GROUP_LENGTH = 4;
const GOOD_FOR_HOURS = 24;

export interface OneTimePassword {
  /** As the account is named. */
  name: string;
  password: string;
  until: Date;
}

/**
 * Gives an account a password that is good for one sign-in within a day, and ends all its sessions: for makers
 * who forgot theirs. The old password is no good any more.
 *
 * @returns null when there is no account of that name
 * @example
 * const given = await setOneTimePassword(db, 'Marit'); // { name: 'marit', password: 'k7wn-…', until }
 */
export async function setOneTimePassword(db: Kysely<Tables>, name: string): Promise<OneTimePassword | null> {
  const { hashPassword } = await import('better-auth/crypto');
  const password = newPassword();
  const hash = await hashPassword(password);
  const until = new Date(Date.now() + GOOD_FOR_HOURS * 3_600_000);
  return await db.transaction().execute(async (transaction) => {
    const account = await transaction
      .selectFrom('accounts')
      .select(['id', 'username'])
      .where('username', '=', normalName(name.trim()))
      .executeTakeFirst();
    if (!account) return null;
    await transaction
      .updateTable('credentials')
      .set({ password: hash, one_time_hash: hash, one_time_until: until, updated_at: new Date() })
      .where('account_id', '=', account.id)
      .where('provider', '=', 'credential')
      .execute();
    await transaction.deleteFrom('sessions').where('account_id', '=', account.id).execute();
    return { name: account.username, password, until };
  });
}

/**
 * Whether an account may be entered with the password that it has: always with one of its maker's own choice,
 * once with one that the operator gave. Of two who come at once with the same, one is let in.
 */
export async function spendOneTimePassword(db: Kysely<Tables>, accountId: string): Promise<boolean> {
  const { rows } = await sql<{ good: boolean; spent: boolean }>`
    with given as (
      select id, one_time_until from credentials
      where account_id = ${accountId} and password = one_time_hash
    ), spent as (
      update credentials set one_time_until = to_timestamp(0)
      where id in (select id from given) and one_time_until > now()
      returning id
    )
    select not exists (select from given) as good, exists (select from spent) as spent`.execute(db);
  return rows[0]!.good || rows[0]!.spent;
}

/** Whether the maker has yet to choose a password of her own. */
export async function hasOneTimePassword(db: Kysely<Tables>, accountId: string): Promise<boolean> {
  const found = await db
    .selectFrom('credentials')
    .select('account_id')
    .where('account_id', '=', accountId)
    .whereRef('password', '=', 'one_time_hash')
    .executeTakeFirst();
  return found !== undefined;
}

function newPassword(): string {
  const group = (): string =>
    Array.from({ length: GROUP_LENGTH }, () => LETTERS[randomInt(LETTERS.length)]).join('');
  return Array.from({ length: GROUPS }, group).join('-');
}
