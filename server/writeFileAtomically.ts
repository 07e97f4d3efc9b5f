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
  const part = join(dirname(path), `.${randomUUID()}.part`);
  try {
    const file = await open(part, 'wx', 0o600);
    try {
      await file.writeFile(bytes);
      await file.sync();
    } finally {
      await file.close();
    }
    await rename(part, path);
  } catch (error) {
    await rm(part, { force: true });
    throw error;
  }
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
