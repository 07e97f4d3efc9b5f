import type { Selectable } from 'kysely';
import type { Check, Piece, PieceSummary } from '../api/schemas.ts';
import type { ChecksTable, PiecesTable } from '../storage/tables.ts';

/** A check as the API shows it. */
export function checkFromRow(row: Selectable<ChecksTable>): Check {
  return {
    id: row.id,
    at: row.created_at.toISOString(),
    ...row.document,
    deletedAt: row.deleted_at?.toISOString() ?? null,
  };
}

/** A piece with its checks as the API shows it. */
export function pieceFromRow(row: Selectable<PiecesTable>, checks: Selectable<ChecksTable>[]): Piece {
  return {
    id: row.id,
    revision: row.revision,
    name: row.name,
    ...row.document,
    checks: checks.map(checkFromRow),
    createdAt: row.created_at.toISOString(),
    updatedAt: row.updated_at.toISOString(),
    deletedAt: row.deleted_at?.toISOString() ?? null,
  };
}

/** A piece in one line of the list. */
export function summaryFromRow(row: Selectable<PiecesTable>, checkCount: number): PieceSummary {
  const { swatches } = row.document;
  const main =
    swatches.find((swatch) => swatch.role === 'main' && swatch.photoId) ?? swatches.find((s) => s.photoId);
  return {
    id: row.id,
    name: row.name,
    revision: row.revision,
    photoId: main?.photoId ?? null,
    checkCount,
    createdAt: row.created_at.toISOString(),
    updatedAt: row.updated_at.toISOString(),
    deletedAt: row.deleted_at?.toISOString() ?? null,
  };
}
