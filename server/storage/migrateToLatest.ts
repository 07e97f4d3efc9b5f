import { Migrator, sql, type Kysely } from 'kysely';
import { MIGRATIONS } from './migrations.ts';
import { StorageError } from './storageError.ts';
import type { Tables } from './tables.ts';

/**
 * Brings the schema up to date in one transaction; does nothing when it is.
 *
 * @throws StorageError `data-newer` when a newer version of the program wrote to this database
 */
export async function migrateToLatest(
  db: Kysely<Tables>,
  migrations: typeof MIGRATIONS = MIGRATIONS,
): Promise<void> {
  await refuseNewer(db, migrations);
  const migrator = new Migrator({ db, provider: { getMigrations: async () => migrations } });
  const { error } = await migrator.migrateToLatest();
  if (error) throw error;
}

async function refuseNewer(db: Kysely<Tables>, migrations: typeof MIGRATIONS): Promise<void> {
  const { rows: found } = await sql<{ there: boolean }>`
    select to_regclass('kysely_migration') is not null as there`.execute(db);
  if (!found[0]!.there) return;
  const { rows } = await sql<{ name: string }>`select name from kysely_migration`.execute(db);
  const unknown = rows.find(({ name }) => !(name in migrations));
  if (unknown) throw new StorageError('data-newer', { detail: `schema ${unknown.name}` });
}
