import { randomUUID } from 'node:crypto';
import { open, rename, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';

/**
 * Writes a file so that a reader, or a crash at any moment, sees the old content or the new, never a part.
 *
 * The bytes go to a neighbour named `.<uuid>.part`, are flushed to the disk, and take the name in one step;
 * then the folder is flushed too, so that the name survives a power cut.
 *
 * @throws the file system's error (ENOSPC, EROFS, EACCES…), with the neighbour removed
 */
export async function writeFileAtomically(path: string, bytes: Uint8Array | string): Promise<void> {
  const part = partBeside(path);
  try {
    await writeNewFile(part, bytes);
    await nameFile(part, path);
  } catch (error) {
    await rm(part, { force: true });
    throw error;
  }
}

/** The neighbour's path. */
export function partBeside(path: string): string {
  return join(dirname(path), `.${randomUUID()}.part`);
}

/** Writes a file that must not be there yet, and flushes it to the disk. */
export async function writeNewFile(path: string, bytes: Uint8Array | string): Promise<void> {
  const file = await open(path, 'wx', 0o600);
  try {
    await file.writeFile(bytes);
    await file.sync();
  } finally {
    await file.close();
  }
}

/** Gives a flushed neighbour its name, for good. */
export async function nameFile(part: string, path: string): Promise<void> {
  await rename(part, path);
  await syncFolder(dirname(path));
}

async function syncFolder(path: string): Promise<void> {
  try {
    const folder = await open(path, 'r');
    try {
      await folder.sync();
    } finally {
      await folder.close();
    }
  } catch {
    // Windows and some network drives cannot flush a folder; the rename itself is done.
  }
}
