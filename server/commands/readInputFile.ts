import { readFile, stat } from 'node:fs/promises';
import { InputError } from './exit.ts';

/** Larger files are refused unread; a 100-megapixel JPEG stays below this. */
const LARGEST_BYTES = 100 * 1024 * 1024;

/**
 * Reads a file named on the command line.
 *
 * @throws InputError when it is missing, a folder, unreadable or larger than 100 MiB
 */
export async function readInputFile(path: string): Promise<Uint8Array> {
  try {
    const found = await stat(path);
    if (found.isDirectory()) throw new InputError(`"${path}" is a folder, not a file.`);
    if (found.size > LARGEST_BYTES) {
      throw new InputError(
        `"${path}" is larger than 100 MB.`,
        'Choose a smaller size, or shrink the picture.',
      );
    }
    return await readFile(path);
  } catch (error) {
    if (error instanceof InputError) throw error;
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT')
      throw new InputError(`There is no file "${path}".`, 'Check the name and the folder.');
    if (code === 'EACCES') throw new InputError(`The file "${path}" may not be read.`);
    throw new InputError(`The file "${path}" could not be read (${code ?? 'unknown reason'}).`);
  }
}
