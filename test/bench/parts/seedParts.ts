import { readFileSync, writeFileSync } from 'node:fs';
import type { ParseArgsOptionsConfig } from 'node:util';

/** Options of every bench that runs over seeds and can be run in parts. */
export const SEED_OPTIONS = {
  from: { type: 'string' },
  count: { type: 'string' },
  part: { type: 'string' },
  json: { type: 'string' },
  merge: { type: 'boolean' },
} satisfies ParseArgsOptionsConfig;

/**
 * The indexes (from 0) of the part `3/8`: every eighth from the third on, so that parts take equally long.
 *
 * @throws RangeError for a part that does not exist
 * @example
 * indexesOf(10, '1/4'); // [0, 4, 8]
 */
export function indexesOf(count: number, part = '1/1'): number[] {
  const [which, parts] = part.split('/').map(Number);
  if (!(which! >= 1 && which! <= parts!)) throw new RangeError(`There is no part ${part}.`);
  return Array.from({ length: count }, (_, i) => i).filter((i) => i % parts! === which! - 1);
}

/** Rows of all part files, in the order of their seeds. */
export function readParts<Row extends { seed: number }>(files: string[]): Row[] {
  const rows = files.flatMap((file) => JSON.parse(readFileSync(file, 'utf8')) as Row[]);
  return rows.sort((a, b) => a.seed - b.seed);
}

/** Written after every photo, so that a run that is stopped leaves what it has. */
export function writePart(file: string | undefined, rows: unknown[]): void {
  if (file) writeFileSync(file, `[\n${rows.map((row) => JSON.stringify(row)).join(',\n')}\n]\n`);
}
