import { createHash } from 'node:crypto';
import { rm } from 'node:fs/promises';
import { createServer, connect, type Server } from 'node:net';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { StorageError } from './storageError.ts';

/**
 * Claims a data folder for this process, because the embedded database must have one user only.
 *
 * The claim is a listening local socket: the system drops it with the process, however that dies, so a claim
 * is never stale the way a file with a process number is.
 *
 * @returns gives the claim back
 * @throws StorageError `data-in-use`
 */
export async function claimFolder(folder: string): Promise<() => Promise<void>> {
  const name = `swatch-gauge-${createHash('sha256').update(resolve(folder)).digest('hex').slice(0, 24)}`;
  const path = process.platform === 'win32' ? `\\\\.\\pipe\\${name}` : join(tmpdir(), `${name}.sock`);
  for (let attempt = 0; attempt < 3; attempt++) {
    const server = await listen(path);
    if (server) {
      server.unref();
      return () => new Promise((done) => server.close(() => done()));
    }
    if (await answers(path)) throw new StorageError('data-in-use');
    await rm(path, { force: true }); // left by a process that was killed
  }
  throw new StorageError('data-in-use');
}

function listen(path: string): Promise<Server | null> {
  return new Promise((resolve, reject) => {
    const server = createServer((socket) => socket.destroy());
    server.once('error', (error: NodeJS.ErrnoException) =>
      error.code === 'EADDRINUSE' ? resolve(null) : reject(error),
    );
    server.listen(path, () => resolve(server));
  });
}

function answers(path: string): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect(path);
    socket.once('connect', () => {
      socket.destroy();
      resolve(true);
    });
    socket.once('error', () => resolve(false));
  });
}
