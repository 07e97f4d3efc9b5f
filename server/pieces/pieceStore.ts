import { randomUUID } from 'node:crypto';
import { sql, type Kysely, type Transaction } from 'kysely';
import type { z } from 'zod';
import { planPiece, type PlanSpec } from '../../calc/index.ts';
import { ProblemError } from '../api/problem.ts';
import type {
  Check,
  checkCreateSchema,
  Piece,
  pieceCreateSchema,
  piecePatchSchema,
  PieceSummary,
} from '../api/schemas.ts';
import type { PieceDocument, Tables } from '../storage/tables.ts';
import { checkFromRow, pieceFromRow, summaryFromRow } from './pieceFromRow.ts';

type Db = Kysely<Tables> | Transaction<Tables>;

/** A piece is one owner's; every function here looks for both ids, so that nobody reaches another's. */
export interface PieceKey {
  ownerId: string;
  id: string;
}

export async function listPieces(db: Db, ownerId: string, deleted: boolean): Promise<PieceSummary[]> {
  const rows = await db
    .selectFrom('pieces')
    .selectAll()
    .select(({ selectFrom }) =>
      selectFrom('checks')
        .select(({ fn }) => fn.countAll<string>().as('n'))
        .whereRef('checks.piece_id', '=', 'pieces.id')
        .where('checks.deleted_at', 'is', null)
        .as('check_count'),
    )
    .where('owner_id', '=', ownerId)
    .where('deleted_at', deleted ? 'is not' : 'is', null)
    .orderBy('updated_at', 'desc')
    .limit(1000)
    .execute();
  return rows.map((row) => summaryFromRow(row, Number(row.check_count)));
}

/** @throws ProblemError `not-found`, also for a deleted piece */
export async function getPiece(db: Db, { ownerId, id }: PieceKey): Promise<Piece> {
  const row = await db
    .selectFrom('pieces')
    .selectAll()
    .where('id', '=', id)
    .where('owner_id', '=', ownerId)
    .where('deleted_at', 'is', null)
    .executeTakeFirst();
  if (!row) throw new ProblemError('not-found');
  const checks = await db
    .selectFrom('checks')
    .selectAll()
    .where('piece_id', '=', id)
    .where('deleted_at', 'is', null)
    .orderBy('created_at')
    .execute();
  return pieceFromRow(row, checks);
}

/** @throws CalcError when the plan cannot be worked out */
export async function createPiece(
  db: Db,
  ownerId: string,
  { name, ...document }: z.output<typeof pieceCreateSchema>,
): Promise<Piece> {
  await checkDocument(db, ownerId, document);
  const row = await db
    .insertInto('pieces')
    .values({
      id: randomUUID(),
      owner_id: ownerId,
      revision: 1,
      name,
      document: sql`${JSON.stringify(document)}::jsonb`,
    })
    .returningAll()
    .executeTakeFirstOrThrow();
  return pieceFromRow(row, []);
}

/** @throws ProblemError `not-found` or `revision-stale`, CalcError when the plan cannot be worked out */
export async function changePiece(
  db: Kysely<Tables>,
  { ownerId, id }: PieceKey,
  { revision, name, ...changes }: z.output<typeof piecePatchSchema>,
): Promise<Piece> {
  return await db.transaction().execute(async (transaction) => {
    const row = await transaction
      .selectFrom('pieces')
      .selectAll()
      .where('id', '=', id)
      .where('owner_id', '=', ownerId)
      .where('deleted_at', 'is', null)
      .forUpdate()
      .executeTakeFirst();
    if (!row) throw new ProblemError('not-found');
    if (row.revision !== revision) throw new ProblemError('revision-stale');
    const given = Object.fromEntries(Object.entries(changes).filter(([, value]) => value !== undefined));
    const document: PieceDocument = { ...row.document, ...given };
    await checkDocument(transaction, ownerId, given as Partial<PieceDocument>);
    await transaction
      .updateTable('pieces')
      .set({
        revision: revision + 1,
        name: name ?? row.name,
        document: sql`${JSON.stringify(document)}::jsonb`,
        updated_at: new Date(),
      })
      .where('id', '=', id)
      .execute();
    return await getPiece(transaction, { ownerId, id });
  });
}

/** Deleting marks; `restorePiece` takes the mark away until tidying removes the piece for good. */
export async function deletePiece(db: Db, key: PieceKey): Promise<PieceSummary> {
  const row = await setDeleted(db, key, new Date());
  return summaryFromRow(row, 0);
}

export async function restorePiece(db: Db, key: PieceKey): Promise<Piece> {
  await setDeleted(db, key, null);
  return await getPiece(db, key);
}

async function setDeleted(db: Db, { ownerId, id }: PieceKey, deletedAt: Date | null) {
  const row = await db
    .updateTable('pieces')
    .set({ deleted_at: deletedAt })
    .where('id', '=', id)
    .where('owner_id', '=', ownerId)
    .returningAll()
    .executeTakeFirst();
  if (!row) throw new ProblemError('not-found');
  return row;
}

export async function addCheck(
  db: Kysely<Tables>,
  key: PieceKey,
  document: z.output<typeof checkCreateSchema>,
): Promise<Check> {
  return await db.transaction().execute(async (transaction) => {
    await getPiece(transaction, key);
    await requireOwnPhotos(transaction, key.ownerId, document.photoIds);
    const row = await transaction
      .insertInto('checks')
      .values({
        id: randomUUID(),
        owner_id: key.ownerId,
        piece_id: key.id,
        document: sql`${JSON.stringify(document)}::jsonb`,
      })
      .returningAll()
      .executeTakeFirstOrThrow();
    await transaction
      .updateTable('pieces')
      .set({ updated_at: new Date() })
      .where('id', '=', key.id)
      .execute();
    return checkFromRow(row);
  });
}

export async function setCheckDeleted(
  db: Db,
  { ownerId, id }: PieceKey,
  checkId: string,
  deleted: boolean,
): Promise<Check> {
  const row = await db
    .updateTable('checks')
    .set({ deleted_at: deleted ? new Date() : null })
    .where('id', '=', checkId)
    .where('piece_id', '=', id)
    .where('owner_id', '=', ownerId)
    .returningAll()
    .executeTakeFirst();
  if (!row) throw new ProblemError('not-found');
  return checkFromRow(row);
}

/** A stored plan can always be worked out, and stored photos are the owner's own. */
async function checkDocument(db: Db, ownerId: string, document: Partial<PieceDocument>): Promise<void> {
  if (document.plan) planPiece(document.plan as unknown as PlanSpec);
  const photoIds = (document.swatches ?? []).flatMap(({ photoId }) => (photoId ? [photoId] : []));
  await requireOwnPhotos(db, ownerId, photoIds);
}

async function requireOwnPhotos(db: Db, ownerId: string, photoIds: string[]): Promise<void> {
  const wanted = [...new Set(photoIds.map((id) => id.toLowerCase()))];
  if (wanted.length === 0) return;
  const found = await db
    .selectFrom('photos')
    .select('id')
    .where('id', 'in', wanted)
    .where('owner_id', '=', ownerId)
    .execute();
  if (found.length < wanted.length) throw new ProblemError('photo-gone');
}
