/** Hands the maker a file, as following a link to it would. */
export function saveFile(bytes: Uint8Array, { name, type }: { name: string; type: string }): void {
  const url = URL.createObjectURL(new Blob([bytes as BlobPart], { type }));
  const link = document.createElement('a');
  link.href = url;
  link.download = name;
  link.click();
  // The browser has taken it up by then; on some phones not at once.
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/**
 * A name that every system takes for a file, from what the maker calls it.
 *
 * @example
 * fileNameFrom('Throw: sea/sky', 'plan'); // 'Throw sea sky'
 */
export function fileNameFrom(words: string, otherwise: string): string {
  const safe = words
    .replace(/[\\/:*?"<>|\p{Cc}]+/gu, ' ')
    .replace(/\s+/g, ' ')
    .replace(/^[ .]+|[ .]+$/g, '');
  return [...safe].slice(0, 80).join('').trim() || otherwise;
}
