import { readFile } from 'node:fs/promises';

/** A kept photo as another process of this machine can have it: its bytes, or the file that holds them. */
export type PhotoSource = { bytes: Uint8Array } | { path: string };

/** @returns null when the file is gone */
export async function bytesOf(source: PhotoSource): Promise<Uint8Array | null> {
  if ('bytes' in source) return source.bytes;
  try {
    return await readFile(source.path);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw error;
  }
}
