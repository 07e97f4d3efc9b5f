import { strToU8, zip, type AsyncZippable } from 'fflate';
import type { Piece } from '../api/schemas.ts';
import { readPhoto } from '../photos/readPhoto.ts';
import type { Services } from '../services.ts';
import { photoPath, PIECE_FILE_VERSION, type PieceFile } from './pieceFile.ts';

/**
 * A piece with its checks, measurements and photos as one zip file, to keep or to move to another machine.
 */
export async function exportPiece(services: Services, ownerId: string, piece: Piece): Promise<Buffer> {
  const { checks, ...rest } = piece;
  const wanted = new Set([
    ...piece.swatches.flatMap(({ photoId }) => (photoId ? [photoId] : [])),
    ...checks.flatMap(({ photoIds }) => photoIds),
  ]);
  const measurementIds = [
    ...piece.swatches.flatMap(({ measurementId }) => (measurementId ? [measurementId] : [])),
    ...checks.flatMap((check) => check.measurementIds),
  ];
  const measurements =
    measurementIds.length === 0
      ? []
      : await services.database.db
          .selectFrom('measurements')
          .selectAll()
          .where('id', 'in', measurementIds)
          .where('owner_id', '=', ownerId)
          .where('state', '=', 'finished')
          .execute();
  for (const { photo_id } of measurements) wanted.add(photo_id);

  const entries: AsyncZippable = {};
  const photos: PieceFile['photos'] = [];
  for (const id of wanted) {
    const photo = await readPhoto(services, id);
    if (!photo || photo.row.owner_id !== ownerId) continue;
    photos.push({ id, referenceBlurred: photo.row.reference_blurred });
    entries[photoPath(id)] = [photo.bytes, { level: 0 }]; // a JPEG does not shrink further
  }
  const file: PieceFile = {
    format: 'swatch-gauge-piece',
    version: PIECE_FILE_VERSION,
    piece: rest,
    checks,
    measurements: measurements.map((row) => ({
      id: row.id,
      photoId: row.photo_id,
      options: row.options,
      measurement: row.result! as PieceFile['measurements'][number]['measurement'],
      createdAt: row.created_at.toISOString(),
    })),
    photos,
  };
  entries['piece.json'] = [strToU8(JSON.stringify(file)), { level: 6 }];
  return await new Promise((resolve, reject) => {
    zip(entries, (error, bytes) =>
      error ? reject(error) : resolve(Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength)),
    );
  });
}
