import { rm, readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { sql } from 'kysely';
import { problemOf } from '../api/problem.ts';
import type { Services } from '../services.ts';

const DAY_MS = 86_400_000;
/** How long a deleted piece can be brought back, and a photo that no piece uses is kept. */
export const KEPT_AFTER_DELETE_MS = 30 * DAY_MS;
/** A put photo without a row is either being entered right now, or was left by a crash. */
const UNCLAIMED_MS = 3_600_000;

/**
 * Removes what nobody can reach any more: pieces deleted a month ago, photos that no piece has used for a
 * month, picture files that a crash left behind, spent pairing codes and
 * sessions, counts of attempts, and uploads of dead processes.
 * Gives up on jobs whose workers all died.
 */
export async function tidy(services: Services): Promise<void> {
  const { database, photos, incomingFolder, config } = services;
  const { db } = database;
  const longAgo = new Date(Date.now() - KEPT_AFTER_DELETE_MS);

  await db.deleteFrom('pieces').where('deleted_at', '<', longAgo).execute();
  await db.deleteFrom('checks').where('deleted_at', '<', longAgo).execute();
  await db.deleteFrom('pairings').where('expires_at', '<', new Date()).execute();

  await db.deleteFrom('attempts').where('until', '<', new Date()).execute();
  await sql`delete from sessions where expires_at < now()`.execute(db);

  const unused = await db
    .deleteFrom('photos')
    .where('created_at', '<', longAgo)
    .where(({ not, exists, selectFrom }) =>
      not(
        exists(
          selectFrom('pieces')
            .select('pieces.id')
            .whereRef('pieces.owner_id', '=', 'photos.owner_id')
            .where(sql<boolean>`pieces.document::text like '%' || photos.id::text || '%'`),
        ),
      ),
    )
    .where(({ not, exists, selectFrom }) =>
      not(
        exists(
          selectFrom('checks')
            .select('checks.id')
            .whereRef('checks.owner_id', '=', 'photos.owner_id')
            .where(sql<boolean>`checks.document::text like '%' || photos.id::text || '%'`),
        ),
      ),
    )
    .returning('blob_key')
    .execute();
  for (const { blob_key } of unused) await photos.remove(blob_key);

  for await (const { key, putAt } of photos.list()) {
    if (Date.now() - putAt.getTime() < UNCLAIMED_MS) continue;
    const claimed = await db.selectFrom('photos').select('id').where('blob_key', '=', key).executeTakeFirst();
    if (!claimed) await photos.remove(key);
  }

  // Three tries of a job's full time, and as much again for waiting behind others.
  const hopeless = new Date(Date.now() - Math.max(DAY_MS, config.measureTimeoutSeconds * 6000));
  await db
    .updateTable('measurements')
    .set({
      state: 'failed',
      problem: sql`${JSON.stringify(problemOf('measuring-failed'))}::jsonb`,
      finished_at: new Date(),
    })
    .where('state', 'in', ['queued', 'running'])
    .where('created_at', '<', hopeless)
    .execute();

  await removeUploadsOfDeadProcesses(dirname(incomingFolder));
}

async function removeUploadsOfDeadProcesses(folder: string): Promise<void> {
  for (const name of await readdir(folder)) {
    const pid = Number(name);
    if (!Number.isInteger(pid) || isAlive(pid)) continue;
    await rm(join(folder, name), { recursive: true, force: true });
  }
}

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
