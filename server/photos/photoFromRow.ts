import type { Selectable } from 'kysely';
import type { Photo } from '../api/schemas.ts';
import type { PhotosTable } from '../storage/tables.ts';

/** A photo as the API shows it. */
export function photoFromRow(row: Selectable<PhotosTable>): Photo {
  return {
    id: row.id,
    widthPx: row.width_px,
    heightPx: row.height_px,
    bytes: row.bytes,
    referenceBlurred: row.reference_blurred,
    sample: row.sample,
    createdAt: row.created_at.toISOString(),
  };
}
