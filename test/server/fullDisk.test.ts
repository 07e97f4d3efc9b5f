/** A whole server whose disk fills up while it runs: what it cannot keep it says so, and nothing else is lost. */
import { spawnSync } from 'node:child_process';
import { closeSync, openSync, writeSync } from 'node:fs';
import { cp, readdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import type { MeasurementJob, Piece, PieceSummary, Problem } from '../../server/api/schemas.ts';
import { makeDataFolder, makeFolder, makePicture, startTestServer } from './support.ts';

/** Writes until nothing fits any more. */
function fill(path: string): void {
  const file = openSync(path, 'w');
  for (const bytes of [1_000_000, 1000]) {
    const block = Buffer.alloc(bytes, 1);
    try {
      for (;;) writeSync(file, block);
    } catch {
      // full
    }
  }
  closeSync(file);
}

const codeOf = async (answer: Response): Promise<string> => ((await answer.json()) as Problem).code;

describe('a server on a full disk', () => {
  it('says so, keeps what it had, and goes on when there is room again', async ({ skip }) => {
    const folder = await makeFolder();
    const isMounted =
      process.platform === 'linux' &&
      spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=90m', 'tmpfs', folder]).status === 0;
    if (!isMounted) skip('needs the right to mount a small file system');
    try {
      const fresh = await makeDataFolder();
      await cp(fresh, folder, { recursive: true });
      await rm(fresh, { recursive: true });
      const options = {
        dataFolder: folder,
        visionTaskFile: fileURLToPath(new URL('./troublesomeTask.ts', import.meta.url)),
        // Short, so that a job whose answer could not be kept comes round again soon.
        config: { measureTimeoutSeconds: 3, visionProcesses: 1 },
      };
      let server = await startTestServer(options);
      // Photos that are being measured when the disk is full.
      const photo = await server.uploadPhoto(await makePicture());
      const jobs: string[] = [];
      for (let i = 0; i < 12; i++) {
        const asked = await server.send('POST', '/measurements', {
          photoId: photo.id,
          options: { stitch: 'dc' },
        });
        jobs.push(((await asked.json()) as MeasurementJob).id);
      }
      const piece = (await (await server.send('POST', '/pieces', { name: 'Before' })).json()) as Piece;
      fill(join(folder, 'ballast'));

      // A photo: on its way in, not yet anywhere.
      const upload = await server.upload(
        '/photos',
        'photo',
        await makePicture({ widthPx: 1500, heightPx: 1500 }),
      );
      expect([upload.status, await codeOf(upload)]).toEqual([507, 'disk-full']);
      expect(await readdir(server.services.incomingFolder)).toEqual([]);
      // A piece: the database still has room in its own files, then has none.
      const note = (): string => Array.from({ length: 300 }, () => crypto.randomUUID()).join('');
      let revision = 1;
      let refusal: Response;
      for (;;) {
        refusal = await server.send('PATCH', `/pieces/${piece.id}`, {
          revision,
          note: note().slice(0, 9000),
        });
        if (!refusal.ok) break;
        revision = ((await refusal.json()) as Piece).revision;
      }
      expect([refusal.status, await codeOf(refusal)]).toEqual([507, 'disk-full']);
      const kept = (await (await server.send('GET', `/pieces/${piece.id}`)).json()) as Piece;
      expect(kept.revision).toBe(revision);

      await sleep(1500); // some are finished meanwhile, and cannot say so
      await rm(join(folder, 'ballast'));
      expect((await server.send('POST', '/pieces', { name: 'After' })).status).toBe(201);
      expect((await server.upload('/photos', 'photo', await makePicture())).status).toBe(201);
      for (const id of jobs) {
        const look = async (): Promise<string> =>
          ((await (await server.send('GET', `/measurements/${id}`)).json()) as MeasurementJob).state;
        await expect.poll(look, { timeout: 60_000, interval: 200 }).toBe('finished');
      }
      await server.stop();
      server = await startTestServer(options);
      const pieces = (await (await server.send('GET', '/pieces')).json()) as PieceSummary[];
      expect(pieces.map(({ name }) => name).toSorted()).toEqual(['After', 'Before']);
      expect(pieces.find(({ name }) => name === 'Before')!.revision).toBe(revision);
      await server.stop();
    } finally {
      spawnSync('umount', ['-l', folder]);
      await rm(folder, { recursive: true, force: true });
    }
  });
});

describe('a server whose data folder becomes read-only', () => {
  it('says so, and keeps and shows what it had', async ({ skip }) => {
    const folder = await makeDataFolder();
    const server = await startTestServer({ dataFolder: folder, takesJobs: false });
    const photo = await server.uploadPhoto(await makePicture());
    // Mounted over itself: what the server opens from now on cannot be written.
    const isMounted =
      process.platform === 'linux' &&
      spawnSync('mount', ['--bind', folder, folder]).status === 0 &&
      spawnSync('mount', ['-o', 'remount,bind,ro', folder]).status === 0;
    try {
      if (!isMounted) skip('needs the right to mount a folder');
      const upload = await server.upload('/photos', 'photo', await makePicture({ seed: 2 }));
      expect([upload.status, await codeOf(upload)]).toEqual([507, 'data-folder-read-only']);
      expect((await fetch(`${server.api}/photos/${photo.id}/image`)).status).toBe(200);
      spawnSync('umount', [folder]);
      expect((await server.upload('/photos', 'photo', await makePicture({ seed: 2 }))).status).toBe(201);
    } finally {
      spawnSync('umount', [folder]);
      await server.stop();
      await rm(folder, { recursive: true, force: true });
    }
  });
});
