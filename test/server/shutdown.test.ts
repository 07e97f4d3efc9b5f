/** What `npm run serve` does from its start to its end, as a process. */
import { spawn, type ChildProcess } from 'node:child_process';
import { rm } from 'node:fs/promises';
import { createServer, type AddressInfo } from 'node:net';
import { fileURLToPath } from 'node:url';
import { sql } from 'kysely';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { MeasurementJob } from '../../server/api/schemas.ts';
import { openDatabase } from '../../server/storage/openDatabase.ts';
import { findPostgres, startPostgres } from './postgres.ts';
import { clientOf, makeDataFolder, makePicture } from './support.ts';

const path = (name: string): string => fileURLToPath(new URL(name, import.meta.url));
let folder: string;
beforeAll(async () => {
  folder = await makeDataFolder();
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

interface Output {
  child: ChildProcess;
  url: Promise<string>;
  /** Exit code, standard output and standard error, once it ended. */
  ended: Promise<{ code: number | null; out: string; err: string }>;
}

function serve(environment: NodeJS.ProcessEnv, script = '../../server/main.ts', args: string[] = []): Output {
  const child = spawn(process.execPath, ['--import', 'tsx', path(script), ...args], {
    env: { ...process.env, SWATCH_GAUGE_DATA: folder, PORT: '0', SWATCH_GAUGE_THREADS: '1', ...environment },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let out = '';
  let err = '';
  child.stderr.on('data', (chunk: Buffer) => (err += String(chunk)));
  const url = new Promise<string>((resolve) => {
    child.stdout.on('data', (chunk: Buffer) => {
      out += String(chunk);
      const at = /http:\/\/[^/\s]+:\d+/.exec(out) ?? /ready (\d+)/.exec(out);
      if (at) resolve(at[1] ? `http://127.0.0.1:${at[1]}` : at[0]);
    });
  });
  const ended = new Promise<{ code: number | null; out: string; err: string }>((resolve) => {
    child.once('close', (code) => resolve({ code, out, err }));
  });
  return { child, url, ended };
}

describe('the server’s process', () => {
  it('says where it is, ends with 0 when asked to stop, and logs neither names nor photos', async () => {
    const server = serve({ LOG_LEVEL: 'trace' });
    const url = await server.url;
    expect((await fetch(`${url}/readyz`)).status).toBe(200);
    const client = clientOf(`${url}/api/v1`);
    await client.upload('/photos', 'photo', await makePicture(), 'our-secret-wedding.jpg');
    await client.send('POST', '/pieces', { name: 'Wedding blanket for our neighbours' });
    await fetch(`${url}/api/v1/pieces/8dcf64c4-273f-4dbc-8a25-3ea6031b71cf?secret=1`);
    server.child.kill('SIGTERM');
    const { code, out, err } = await server.ended;
    expect(code).toBe(0);
    const log = out + err;
    expect(log).toContain('/api/v1/photos');
    expect(log).not.toMatch(/wedding|neighbours|secret|8dcf64c4/i);
    for (const line of err.trim().split('\n')) expect(JSON.parse(line)).toHaveProperty('level');
  });

  it('finishes the job in hand before it goes, and does a waiting one after it came back', async () => {
    const task = ['--task', path('./troublesomeTask.ts')];
    const first = serve({}, './stoppableProcess.ts', task);
    const client = clientOf(`${await first.url}/api/v1`);
    const photo = await client.uploadPhoto(await makePicture());
    const ids: string[] = [];
    for (let i = 0; i < 4; i++) ids.push((await client.askFor(photo.id, { stitch: 'dc' })).id);
    first.child.kill('SIGTERM');
    expect((await first.ended).code).toBe(0);

    const second = serve({}, './stoppableProcess.ts', task);
    const again = `${await second.url}/api/v1`;
    for (const id of ids) {
      const stateOf = async (): Promise<string> =>
        ((await (await fetch(`${again}/measurements/${id}`)).json()) as MeasurementJob).state;
      await expect.poll(stateOf, { timeout: 30_000 }).toBe('finished');
    }
    second.child.kill('SIGTERM');
    await second.ended;
  });

  it('gives a job back that does not finish in time, as if it had never been taken', async () => {
    const task = ['--task', path('./troublesomeTask.ts')];
    const server = serve({ SWATCH_GAUGE_MEASURE_SECONDS: '120' }, './stoppableProcess.ts', task);
    const api = `${await server.url}/api/v1`;
    const client = clientOf(api);
    const photo = await client.uploadPhoto(await makePicture());
    const { id } = await client.askFor(photo.id, { stitch: 'moss' }); // which never ends
    const stateOf = async (): Promise<string> =>
      ((await (await fetch(`${api}/measurements/${id}`)).json()) as MeasurementJob).state;
    await expect.poll(stateOf, { timeout: 30_000 }).toBe('running');
    server.child.kill('SIGTERM');
    expect((await server.ended).code).toBe(0);
    const database = await openDatabase({ dataFolder: folder, databaseUrl: null });
    const job = await database.db
      .selectFrom('measurements')
      .select(['state', 'attempts'])
      .where('id', '=', id)
      .executeTakeFirst();
    await database.db.deleteFrom('measurements').where('id', '=', id).execute();
    await database.close();
    expect(job).toEqual({ state: 'queued', attempts: 0 });
  });

  it.each([
    ['a port in use', async () => ({ PORT: String(await takenPort()) }), 'is taken'],
    ['a setting that makes no sense', async () => ({ PORT: 'banana' }), 'PORT'],
    [
      'a database that is not there',
      async () => ({ DATABASE_URL: 'postgres://maker@127.0.0.1:9/none' }),
      'DATABASE_URL',
    ],
    ['a data folder that is a file', async () => ({ SWATCH_GAUGE_DATA: path('./support.ts') }), ''],
    ['an address that others reach', async () => ({ HOST: '0.0.0.0' }), '--share'],
    ['data of a newer version', async () => ({ SWATCH_GAUGE_DATA: await newerData() }), 'newer version'],
    ...(process.platform === 'linux'
      ? ([
          [
            'a data folder that cannot be written',
            async () => ({ SWATCH_GAUGE_DATA: '/sys/swatch-gauge' }),
            'Make it writable',
          ],
        ] as [string, () => Promise<NodeJS.ProcessEnv>, string][])
      : []),
  ])('says in one sentence that it cannot start: %s', async (_name, environment, mentions) => {
    const { code, err } = await serve(await environment()).ended;
    expect(code).toBe(2);
    expect(err).toContain(mentions);
    expect(err.trim().split('\n')).toHaveLength(1);
  });

  it.runIf(findPostgres())('a worker says how it is where it is told to, and ends with 0', async () => {
    const postgres = await startPostgres(findPostgres()!);
    const environment = {
      DATABASE_URL: await postgres.createDatabase('makers'),
      SWATCH_GAUGE_WORKER_PORT: '0',
    };
    const worker = serve(environment, '../../server/worker.ts');
    const url = await worker.url;
    expect((await fetch(`${url}/healthz`)).status).toBe(200);
    expect((await fetch(`${url}/readyz`)).status).toBe(200);
    expect(await (await fetch(`${url}/metrics`)).text()).toContain('swatch_gauge_measuring_seconds');
    for (const path of ['/', '/api/v1/pieces', '/constructor']) {
      expect((await fetch(url + path)).status).toBe(404);
    }
    await postgres.kill();
    const ready = async (): Promise<number> => (await fetch(`${url}/readyz`)).status;
    // Its processes outlive it until they notice, and answer meanwhile.
    await expect.poll(ready, { timeout: 20_000 }).toBe(503);
    expect((await fetch(`${url}/healthz`)).status).toBe(200);
    await postgres.restart();
    await expect.poll(ready, { timeout: 20_000 }).toBe(200);
    worker.child.kill('SIGTERM');
    expect((await worker.ended).code).toBe(0);
    await postgres.stop();
  });

  it('a worker needs a database to share', async () => {
    const { code, err } = await serve({}, '../../server/worker.ts').ended;
    expect(code).toBe(2);
    expect(err).toContain('DATABASE_URL');
  });
});

/** As a later version of the program would leave it. */
async function newerData(): Promise<string> {
  const newer = await makeDataFolder();
  const database = await openDatabase({ dataFolder: newer, databaseUrl: null });
  await sql`insert into kysely_migration (name, timestamp) values ('2099-later', '2099')`.execute(
    database.db,
  );
  await database.close();
  return newer;
}

const blockers: ReturnType<typeof createServer>[] = [];
afterAll(() => {
  for (const blocker of blockers) blocker.close();
});
function takenPort(): Promise<number> {
  return new Promise((resolve) => {
    const blocker = createServer();
    blockers.push(blocker);
    blocker.listen(0, '127.0.0.1', () => resolve((blocker.address() as AddressInfo).port));
  });
}
