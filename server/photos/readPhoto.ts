import type { Selectable } from 'kysely';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import type { PhotoSource } from '../storage/photoSource.ts';
import type { PhotosTable } from '../storage/tables.ts';

type Row = Selectable<PhotosTable>;

export interface ReadPhoto {
  row: Row;
  bytes: Uint8Array;
}

/** A kept photo and where a measuring process gets its bytes from. */
export interface LocatedPhoto {
  row: Row;
  source: PhotoSource;
}

type Store = Pick<Services, 'database' | 'photos'>;

/** A kept photo with its bytes; null when there is none. */
export async function readPhoto(services: Store, photoId: string): Promise<ReadPhoto | null> {
  const found = await find(services, photoId, (key) => services.photos.get(key));
  return found && { row: found.row, bytes: found.content };
}

/** The same for a measuring process. The picture may still be replaced before that reads it. */
export async function locatePhoto(services: Store, photoId: string): Promise<LocatedPhoto | null> {
  const found = await find(services, photoId, (key) => services.photos.source(key));
  return found && { row: found.row, source: found.content };
}

/** Looks twice, since blurring may replace the picture between two looks. */
async function find<Content>(
  { database }: Store,
  photoId: string,
  get: (key: string) => Promise<Content | null>,
): Promise<{ row: Row; content: Content } | null> {
  for (let look = 0; look < 2; look++) {
    const row = await database.db
      .selectFrom('photos')
      .selectAll()
      .where('id', '=', photoId)
      .executeTakeFirst();
    if (!row) return null;
    const content = await get(row.blob_key);
    if (content) return { row, content };
  }
  return null;
}

/** A photo with its bytes for a request: one owner's, or the problem to answer with. */
export async function requirePhoto(services: Services, ownerId: string, photoId: string): Promise<ReadPhoto> {
  const photo = await readPhoto(services, photoId);
  if (!photo || photo.row.owner_id !== ownerId) throw new ProblemError('not-found');
  return photo;
}
