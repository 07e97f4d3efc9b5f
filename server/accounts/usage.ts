import { sql, type Kysely, type Transaction } from 'kysely';
import { ProblemError } from '../api/problem.ts';
import type { Config } from '../config.ts';
import { LOCAL_OWNER } from '../owner.ts';
import type { Tables } from '../storage/tables.ts';

type Db = Kysely<Tables> | Transaction<Tables>;

/** Bytes that one owner's photos, measurements, pieces and checks take. */
export async function bytesUsedBy(db: Db, ownerId: string): Promise<number> {
  const { rows } = await sql<{ total: string }>`
    select
      (select coalesce(sum(bytes), 0) from photos where owner_id = ${ownerId}) +
      (select coalesce(sum(pg_column_size(document)), 0) from pieces where owner_id = ${ownerId}) +
      (select coalesce(sum(pg_column_size(document)), 0) from checks where owner_id = ${ownerId}) +
      (select coalesce(sum(pg_column_size(result)), 0) from measurements where owner_id = ${ownerId})
      as total`.execute(db);
  return Number(rows[0]!.total);
}

/**
 * Refuses what would take an account beyond its share. Whoever sits at the computer itself is not limited.
 *
 * @param moreBytes what is about to be added
 * @throws ProblemError `account-full`
 */
export async function requireRoom(
  db: Db,
  config: Pick<Config, 'accountQuotaBytes'>,
  ownerId: string,
  moreBytes: number,
): Promise<void> {
  if (ownerId === LOCAL_OWNER) return;
  if ((await bytesUsedBy(db, ownerId)) + moreBytes > config.accountQuotaBytes) {
    throw new ProblemError('account-full');
  }
}

/**
 * Refuses another measurement while an account's own are still waiting, so that one maker cannot fill the
 * queue that all stand in.
 *
 * @throws ProblemError `account-busy`
 */
export async function requireTurn(
  db: Db,
  config: Pick<Config, 'accountQueue'>,
  ownerId: string,
): Promise<void> {
  if (ownerId === LOCAL_OWNER) return;
  const { waiting } = await db
    .selectFrom('measurements')
    .select(({ fn }) => fn.countAll<string>().as('waiting'))
    .where('owner_id', '=', ownerId)
    .where('state', 'in', ['queued', 'running'])
    .executeTakeFirstOrThrow();
  if (Number(waiting) >= config.accountQueue) {
    throw new ProblemError('account-busy', { retryAfterSeconds: 5 });
  }
}
