import { randomUUID } from 'node:crypto';
import { strFromU8, unzipSync, type Unzipped } from 'fflate';
import { sql } from 'kysely';
import { planPiece, type PlanSpec } from '../../calc/index.ts';
import { ProblemError } from '../api/problem.ts';
import { oddityIn } from '../api/refuseOddJson.ts';
import type { Piece } from '../api/schemas.ts';
import { admitPhoto } from '../photos/admitPhoto.ts';
import type { Services } from '../services.ts';
import { getPiece } from './pieceStore.ts';
import { photoPath, PIECE_FILE_VERSION, pieceFileSchema, type PieceFile } from './pieceFile.ts';

const LARGEST_JSON_BYTES = 64 * 1024 * 1024;

/**
 * Takes a piece file in as a new piece: every id is made anew, so that importing twice gives two pieces and
 * nothing that is here can be overwritten. Photos pass the same checks as uploads.
 *
 * @throws ProblemError `file-unusable`, `file-newer` or `file-too-large`; VisionError; CalcError; StorageError
 */
export async function importPiece(services: Services, ownerId: string, bytes: Uint8Array): Promise<Piece> {
  const { db } = services.database;
  const entries = unpack(bytes, services.config.largestPieceFileBytes, services.config.largestPhotoBytes);
  const file = readPieceJson(entries);
  if (file.piece.plan) planPiece(file.piece.plan as unknown as PlanSpec);

  const renamed = new Map<string, string>();
  const admitted: string[] = [];
  try {
    for (const { id, referenceBlurred } of file.photos) {
      const photoBytes = entries[photoPath(id)];
      if (!photoBytes) throw new ProblemError('file-unusable');
      const photo = await admitPhoto(services, ownerId, photoBytes);
      admitted.push(photo.id);
      renamed.set(id, photo.id);
      if (referenceBlurred) {
        await db.updateTable('photos').set({ reference_blurred: true }).where('id', '=', photo.id).execute();
      }
    }
    return await db.transaction().execute(async (transaction) => {
      for (const one of file.measurements) {
        const photoId = renamed.get(one.photoId);
        if (!photoId) continue;
        renamed.set(one.id, randomUUID());
        await transaction
          .insertInto('measurements')
          .values({
            id: renamed.get(one.id)!,
            owner_id: ownerId,
            photo_id: photoId,
            options: sql`${JSON.stringify(one.options)}::jsonb`,
            state: 'finished',
            stages_done: sql`'[]'::jsonb`,
            queued_before: 0,
            result: sql`${JSON.stringify(one.measurement)}::jsonb`,
            attempts: 0,
            created_at: new Date(one.createdAt),
            finished_at: new Date(one.createdAt),
          })
          .execute();
      }
      const again = (id: string | null): string | null => (id === null ? null : (renamed.get(id) ?? null));
      const allAgain = (ids: string[]): string[] => ids.flatMap((id) => renamed.get(id) ?? []);
      const { units, terms, note, plan, view, name } = file.piece;
      const swatches = file.piece.swatches.map((swatch) => ({
        ...swatch,
        photoId: again(swatch.photoId),
        measurementId: again(swatch.measurementId),
      }));
      const id = randomUUID();
      await transaction
        .insertInto('pieces')
        .values({
          id,
          owner_id: ownerId,
          revision: 1,
          name,
          document: sql`${JSON.stringify({ units, terms, note, swatches, plan, view })}::jsonb`,
          created_at: new Date(file.piece.createdAt),
        })
        .execute();
      for (const { at, deletedAt, id: _old, ...check } of file.checks) {
        if (deletedAt !== null) continue;
        const document = {
          ...check,
          photoIds: allAgain(check.photoIds),
          measurementIds: allAgain(check.measurementIds),
        };
        await transaction
          .insertInto('checks')
          .values({
            id: randomUUID(),
            owner_id: ownerId,
            piece_id: id,
            document: sql`${JSON.stringify(document)}::jsonb`,
            created_at: new Date(at),
          })
          .execute();
      }
      return await getPiece(transaction, { ownerId, id });
    });
  } catch (error) {
    await removePhotos(services, admitted); // nothing of a file that did not come in whole stays
    throw error;
  }
}

/** Opens only what a piece file holds, and never more than was allowed, whatever the headers promise. */
function unpack(bytes: Uint8Array, mostBytes: number, mostPhotoBytes: number): Unzipped {
  let total = 0;
  let tooLarge = false;
  try {
    const entries = unzipSync(bytes, {
      filter: ({ name, originalSize }) => {
        const isJson = name === 'piece.json';
        if (!isJson && !/^photos\/[0-9a-f-]{36}\.jpg$/.test(name)) return false;
        total += originalSize;
        tooLarge ||= originalSize > (isJson ? LARGEST_JSON_BYTES : mostPhotoBytes) || total > mostBytes;
        return !tooLarge;
      },
    });
    if (tooLarge) throw new ProblemError('file-too-large');
    return entries;
  } catch (error) {
    throw error instanceof ProblemError ? error : new ProblemError('file-unusable');
  }
}

function readPieceJson(entries: Unzipped): PieceFile {
  const json = entries['piece.json'];
  if (!json) throw new ProblemError('file-unusable');
  let content: unknown;
  try {
    content = JSON.parse(strFromU8(json));
  } catch {
    throw new ProblemError('file-unusable');
  }
  if (oddityIn(content)) throw new ProblemError('file-unusable');
  const version: unknown = (content as { version?: unknown } | null)?.version;
  if (typeof version === 'number' && version > PIECE_FILE_VERSION) throw new ProblemError('file-newer');
  const parsed = pieceFileSchema.safeParse(content);
  if (!parsed.success) {
    const errors = parsed.error.issues
      .slice(0, 5)
      .map(({ path, message }) => ({ field: path.join('.'), message }));
    throw new ProblemError('file-unusable', { errors });
  }
  return parsed.data;
}

async function removePhotos({ database, photos }: Services, ids: string[]): Promise<void> {
  for (const id of ids) {
    const row = await database.db
      .deleteFrom('photos')
      .where('id', '=', id)
      .returning('blob_key')
      .executeTakeFirst();
    if (row) await photos.remove(row.blob_key);
  }
}
