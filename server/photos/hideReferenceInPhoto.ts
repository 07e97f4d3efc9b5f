import type { Measurement } from '../../vision/measurement.ts';
import type { Services } from '../services.ts';
import type { LocatedPhoto } from './readPhoto.ts';

/**
 * Replaces a kept photo by one in which the reference's face cannot be read: names and numbers on a card are
 * nobody's business, and the outline, which the scale needs, stays.
 *
 * The new picture is put first, then the row points to it, then the old one goes: a crash in between leaves
 * one picture too many, which tidying removes, never one too few.
 */
export async function hideReferenceInPhoto(
  { vision, photos, database }: Services,
  { row: photo, source }: LocatedPhoto,
  measurement: Measurement,
): Promise<void> {
  const { key, bytes } = await photos.putMade((path) => vision.hideReference(source, measurement, path));
  const { numUpdatedRows } = await database.db
    .updateTable('photos')
    .set({ blob_key: key, bytes, reference_blurred: true })
    .where('id', '=', photo.id)
    .where('blob_key', '=', photo.blob_key)
    .executeTakeFirst();
  await photos.remove(numUpdatedRows > 0n ? photo.blob_key : key);
}
