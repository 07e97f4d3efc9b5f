import { sql } from 'kysely';
import type { Services } from '../services.ts';
import { hideReferenceInPhoto } from './hideReferenceInPhoto.ts';
import { locatePhoto } from './readPhoto.ts';

/**
 * Blurs the references of photos that were measured but whose worker died before it came to that.
 * At most a few at a time: there are only as many as workers were killed.
 */
export async function hideMissedReferences(services: Services): Promise<void> {
  const missed = await services.database.db
    .selectFrom('photos')
    .innerJoin('measurements', 'measurements.photo_id', 'photos.id')
    .select(['photos.id', 'measurements.result'])
    .distinctOn('photos.id')
    .where('photos.reference_blurred', '=', false)
    .where('measurements.state', '=', 'finished')
    .where(sql<boolean>`jsonb_typeof(measurements.result -> 'scale') = 'object'`)
    .limit(20)
    .execute();
  for (const { id, result } of missed) {
    const photo = await locatePhoto(services, id);
    if (photo && result?.scale) await hideReferenceInPhoto(services, photo, result);
  }
}
