import { CalcError } from './errors.ts';
import { layoutMayEndAt } from './layout.ts';
import { isLegalCount, smallestLegalCount } from './legalCounts.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { stitchesOf, type SizeModel } from './sizeModel.ts';

/** How many of the neighbours on each side of the choice are listed. */
export const NEIGHBOURS = 2;

/** Legal foundation chains from the smallest to well past the target. */
export function chainOptions(spec: ReadyPlanSpec, size: SizeModel, targetMm = spec.target.widthMm): number[] {
  const start = smallestLegalCount(spec.multiple);
  return legalCounts(
    start,
    (chain) => chainIsLegal(chain, spec),
    (chain) => size.expectedWidthMm(stitchesOf(chain, spec)) > targetMm,
    'multiple',
  );
}

/** Legal row counts from the smallest to well past the target. */
export function rowOptions(spec: ReadyPlanSpec, size: SizeModel, targetMm = spec.target.heightMm): number[] {
  const start = smallestLegalCount(spec.rowRepeat);
  return legalCounts(
    start,
    (rows) => rowsAreLegal(rows, spec),
    (rows) => size.expectedHeightMm(rows) > targetMm,
    'rowRepeat',
  );
}

/** Whether the pattern allows this foundation chain. */
export function chainIsLegal(chain: number, spec: ReadyPlanSpec): boolean {
  return stitchesOf(chain, spec) >= 1 && isLegalCount(chain, spec.multiple);
}

/** Whether the piece may end after `rows` rows: row repeat, right side, stripes. */
export function rowsAreLegal(rows: number, spec: ReadyPlanSpec): boolean {
  if (rows < 1 || !isLegalCount(rows, spec.rowRepeat)) return false;
  if (spec.lastRow !== 'any' && (spec.lastRow === 'right-side') !== (rows % 2 === 1)) return false;
  return layoutMayEndAt(spec.layout, rows);
}

/** Furthest count searched; 10 m at 150 rows per 10 cm. */
const LARGEST_COUNT = 20_000;

function legalCounts(
  start: number,
  legal: (count: number) => boolean,
  isPastTarget: (count: number) => boolean,
  field: string,
): number[] {
  const found: number[] = [];
  let past = 0;
  for (let count = Math.max(1, start); count <= LARGEST_COUNT && past <= NEIGHBOURS; count++) {
    if (!legal(count)) continue;
    found.push(count);
    if (isPastTarget(count)) past++;
  }
  if (found.length === 0) {
    throw new CalcError(
      'impossible',
      field,
      { code: 'refuse.noCount', values: {} },
      'a repeat, a last row and a layout that agree',
    );
  }
  return found;
}
