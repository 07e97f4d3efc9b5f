import { randomBytes, randomUUID } from 'node:crypto';
import { link, mkdir, readFile, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { asStorageError } from '../storage/storageError.ts';
import { writeFileAtomically } from '../writeFileAtomically.ts';

/**
 * What the cookies of a hosted server are signed with: the one that is set, else one that is made once and
 * kept in the data folder. It is not in the database, so that a copy of that alone opens no account.
 *
 * @throws StorageError when it cannot be kept
 */
export async function signInSecret(config: {
  signInSecret: string | null;
  dataFolder: string;
}): Promise<string> {
  if (config.signInSecret) return config.signInSecret;
  const path = join(config.dataFolder, 'sign-in-secret');
  try {
    return await readFile(path, 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw asStorageError(error);
  }
  const ours = join(config.dataFolder, `.sign-in-secret-${randomUUID()}`);
  try {
    await mkdir(config.dataFolder, { recursive: true, mode: 0o700 });
    await writeFileAtomically(ours, randomBytes(32).toString('base64url'));
    // Of several servers that start at once on one folder, the first gives its secret to all.
    await link(ours, path).catch((error: NodeJS.ErrnoException) => {
      if (error.code !== 'EEXIST') throw error;
    });
    return await readFile(path, 'utf8');
  } catch (error) {
    throw asStorageError(error);
  } finally {
    await rm(ours, { force: true });
  }
}
