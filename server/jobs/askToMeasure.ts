import { randomUUID } from 'node:crypto';
import { sql } from 'kysely';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { requireRoom, requireTurn } from '../accounts/usage.ts';
import { ProblemError } from '../api/problem.ts';
import type { MeasurementJob } from '../api/schemas.ts';
import type { Services } from '../services.ts';
import { jobFromRow } from './jobFromRow.ts';

/**
 * Enters a measuring job for a kept photo and lets the takers know. When this returns, the job survives a crash.
 *
 * @throws ProblemError `photo-gone` when it is not this owner's, `account-full`, `account-busy`
 */
export async function askToMeasure(
  { database, queue, config }: Services,
  ownerId: string,
  asked: { photoId: string; options: MeasureOptions },
): Promise<MeasurementJob> {
  const { db } = database;
  const photo = await db
    .selectFrom('photos')
    .select('id')
    .where('id', '=', asked.photoId)
    .where('owner_id', '=', ownerId)
    .executeTakeFirst();
  if (!photo) throw new ProblemError('photo-gone');
  await requireRoom(db, config, ownerId, 0);
  await requireTurn(db, config, ownerId);
  const row = await db.transaction().execute(async (transaction) => {
    const inserted = await transaction
      .insertInto('measurements')
      .values({
        id: randomUUID(),
        owner_id: ownerId,
        photo_id: photo.id,
        options: sql`${JSON.stringify(asked.options)}::jsonb`,
        state: 'queued',
        stages_done: sql`'[]'::jsonb`,
        queued_before: sql`(select count(*)::int from measurements where state = 'queued')`,
        attempts: 0,
      })
      .returningAll()
      .executeTakeFirstOrThrow();
    await queue.enqueue(transaction, inserted.id);
    return inserted;
  });
  queue.wake();
  return jobFromRow(row);
}

/**
 * As `askToMeasure`, for a photo that is kept whatever comes of it: null where the maker is turned away. Who asks again
 * is told why.
 */
export async function askIfThereIsRoom(
  services: Services,
  ownerId: string,
  asked: { photoId: string; options: MeasureOptions },
): Promise<MeasurementJob | null> {
  try {
    return await askToMeasure(services, ownerId, asked);
  } catch (error) {
    if (error instanceof ProblemError) return null;
    throw error;
  }
}
