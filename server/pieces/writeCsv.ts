/**
 * Rows as CSV (RFC 4180): comma, CRLF, quotes where needed.
 *
 * Text that a spreadsheet would take for a formula gets an apostrophe in front, as they show it.
 *
 * @example
 * writeCsv([['colour', 'grams'], ['moss, dark', 120]]); // 'colour,grams\r\n"moss, dark",120\r\n'
 */
export function writeCsv(rows: readonly (readonly (string | number | null)[])[]): string {
  return rows.map((row) => row.map(writeCell).join(',') + '\r\n').join('');
}

function writeCell(cell: string | number | null): string {
  if (cell === null) return '';
  if (typeof cell === 'number') return String(cell);
  const safe = /^[=+\-@\t\r]/.test(cell) ? `'${cell}` : cell;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
