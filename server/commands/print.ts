/** Writes an answer to standard output, with a line end. */
export function print(text: string): void {
  process.stdout.write(`${text}\n`);
}
