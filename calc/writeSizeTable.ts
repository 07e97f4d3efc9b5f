import { formatLength } from './formatLength.ts';
import { formatYarnLength } from './formatWeight.ts';
import type { SizeRow } from './sizeTable.ts';
import type { LengthUnit } from './units.ts';

/**
 * A size table in the usual notation of written patterns, "first (second, third)", one line a fact.
 *
 * @example
 * writeSizeTable(
 *   sizeTable({ gauge: { stitchesPer10cm: 13.5, rowsPer10cm: 9 }, stitch: 'hdc' }, ['baby-blanket', 'throw']),
 *   'in',
 * )[0]; // 'Sizes: Baby blanket (Throw)'
 */
export function writeSizeTable(sizes: readonly SizeRow[], unit: LengthUnit): string[] {
  if (sizes.length === 0) return [];
  const line = (label: string, of: (row: SizeRow) => string | number): string => {
    const [first, ...others] = sizes.map((row) => String(of(row)));
    return `${label}: ${first}${others.length > 0 ? ` (${others.join(', ')})` : ''}`;
  };
  const { craft, multiple } = sizes[0]!.plan;
  const rounds = Math.max(...sizes.map((row) => row.borderRounds.length));
  return [
    line('Sizes', (row) => row.name),
    line('Finished width', (row) => formatLength(row.finished.widthMm.value, unit)),
    line('Finished height', (row) => formatLength(row.finished.heightMm.value, unit)),
    line(craft === 'crochet' ? 'Chain' : 'Cast on', (row) => row.chain),
    ...(multiple.m > 1 ? [line(`Repeats of ${multiple.m}`, (row) => row.repeats)] : []),
    line('Stitches', (row) => row.stitches),
    line('Rows', (row) => row.rows),
    ...Array.from({ length: rounds }, (_, index) =>
      line(`Border round ${index + 1}, stitches`, (row) => row.borderRounds[index] ?? '–'),
    ),
    ...sizes[0]!.yarn.flatMap(({ name }, index) => {
      const of = (row: SizeRow) => row.yarn[index]!;
      const lines = [line(`${name}, g`, (row) => Math.ceil(of(row).grams.value))];
      if (sizes.every((row) => of(row).metres)) {
        lines.push(
          line(`${name}, length`, (row) =>
            formatYarnLength(of(row).metres!.value, unit === 'in' ? 'yd' : 'm'),
          ),
        );
      }
      if (sizes.every((row) => of(row).skeins !== null)) {
        lines.push(line(`${name}, skeins (95 % safe)`, (row) => of(row).skeins!));
      }
      return lines;
    }),
    // each caution once, whichever sizes it belongs to
    ...new Set(sizes.flatMap((row) => row.cautions.map((each) => each.message))),
  ];
}
