import type { Selectable } from 'kysely';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import type { PhotosTable } from '../storage/tables.ts';

export interface ReadPhoto {
  row: Selectable<PhotosTable>;
  bytes: Uint8Array;
}

/**
 * A kept photo with its bytes.
 *
 * @returns null when there is none; looks twice, since blurring may replace the picture between two looks
 */
export async function readPhoto(
  { database, photos }: Pick<Services, 'database' | 'photos'>,
  photoId: string,
): Promise<ReadPhoto | null> {
  for (let look = 0; look < 2; look++) {
    const row = await database.db
      .selectFrom('photos')
      .selectAll()
      .where('id', '=', photoId)
      .executeTakeFirst();
    if (!row) return null;
    const bytes = await photos.get(row.blob_key);
    if (bytes) return { row, bytes };
  }
  return null;
}

/** The same for a request: one owner's photo, or the problem to answer with. */
export async function requirePhoto(services: Services, ownerId: string, photoId: string): Promise<ReadPhoto> {
  const photo = await readPhoto(services, photoId);
  if (!photo || photo.row.owner_id !== ownerId) throw new ProblemError('not-found');
  return photo;
}
