import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readdir, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { nameFile, partBeside, writeFileAtomically } from '../writeFileAtomically.ts';
import { bytesOf, type PhotoSource } from './photoSource.ts';
import { asStorageError } from './storageError.ts';

/** Where photos are kept. Keys are made by the store; a put that returned survives a crash. */
export interface PhotoStore {
  put(bytes: Uint8Array): Promise<string>;
  /**
   * The same for a measuring process, whose pictures need not pass through this one.
   *
   * @param make writes the picture to a new file of this path, as `writeNewFile` does, and says how many bytes it has;
   *   given null it has to hand over the bytes instead
   * @throws what `make` does, with nothing left behind
   */
  putMade(
    make: (path: string | null) => Promise<Uint8Array | number>,
  ): Promise<{ key: string; bytes: number }>;
  /** @returns the bytes, or null when there is no such photo */
  get(key: string): Promise<Uint8Array | null>;
  /** The same for a measuring process, which reads a file by itself. */
  source(key: string): Promise<PhotoSource | null>;
  remove(key: string): Promise<void>;
  /** Keys of everything kept, with the time it was put. */
  list(): AsyncIterable<{ key: string; putAt: Date }>;
}

/** A UUID. */
export const PHOTO_KEY = /^[0-9a-f]{8}-[0-9a-f-]{27}$/;

/**
 * Keeps photos as files in a folder, spread over 256 subfolders by the first two digits of their key.
 *
 * @throws StorageError from `put` when the disk is full or read-only; nothing half-written stays
 */
export function openFolderStore(folder: string): PhotoStore {
  const pathOf = (key: string): string => {
    if (!PHOTO_KEY.test(key)) throw new Error(`not a photo key: ${key}`);
    return join(folder, key.slice(0, 2), key);
  };
  return {
    async put(bytes) {
      const key = randomUUID();
      try {
        await mkdir(join(folder, key.slice(0, 2)), { recursive: true, mode: 0o700 });
        await writeFileAtomically(pathOf(key), bytes);
      } catch (error) {
        throw asStorageError(error);
      }
      return key;
    },
    async putMade(make) {
      const key = randomUUID();
      const path = pathOf(key);
      const part = partBeside(path);
      try {
        await mkdir(join(folder, key.slice(0, 2)), { recursive: true, mode: 0o700 });
        const bytes = (await make(part)) as number;
        await nameFile(part, path);
        return { key, bytes };
      } catch (error) {
        await rm(part, { force: true });
        throw asStorageError(error);
      }
    },
    async get(key) {
      return await bytesOf({ path: pathOf(key) });
    },
    async source(key) {
      const path = pathOf(key);
      return existsSync(path) ? { path } : null;
    },
    async remove(key) {
      await rm(pathOf(key), { force: true });
    },
    async *list() {
      for (const subfolder of await entries(folder)) {
        for (const name of await entries(join(folder, subfolder))) {
          const path = join(folder, subfolder, name);
          if (PHOTO_KEY.test(name)) yield { key: name, putAt: (await stat(path)).mtime };
          // A part that a crash left behind; no put can be under way for as long as an hour.
          else if (name.endsWith('.part') && Date.now() - (await stat(path)).mtimeMs > 3_600_000) {
            await rm(path, { force: true });
          }
        }
      }
    },
  };
}

async function entries(folder: string): Promise<string[]> {
  try {
    return await readdir(folder);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') return [];
    throw error;
  }
}
