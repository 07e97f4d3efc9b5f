import { quantileSorted } from 'simple-statistics';

/** A quantile of values in any order; NaN when there are none. */
export function quantile(values: number[], q: number): number {
  const sorted = values.filter(Number.isFinite).sort((a, b) => a - b);
  return sorted.length ? quantileSorted(sorted, q) : NaN;
}

export const percent = (share: number, digits = 1): string =>
  Number.isFinite(share) ? `${(100 * share).toFixed(digits)} %` : '–';

/** Prints rows of cells as an aligned table. */
export function printTable(head: string[], rows: string[][]): void {
  const widths = head.map((h, i) => Math.max(h.length, ...rows.map((r) => (r[i] ?? '').length)));
  const line = (cells: string[]) =>
    `| ${cells.map((c, i) => (i === 0 ? c.padEnd(widths[i]) : c.padStart(widths[i]))).join(' | ')} |`;
  console.log(line(head));
  console.log(`|${widths.map((w, i) => (i === 0 ? '-'.repeat(w + 2) : `${'-'.repeat(w + 1)}:`)).join('|')}|`);
  for (const row of rows) console.log(line(row));
}
