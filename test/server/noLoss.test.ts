/**
 * Whatever was acknowledged is there after any process was killed (SIGKILL: no handler runs) at any moment: the
 * server, with PostgreSQL also the worker, a process that serves the database, or the database as a whole.
 * Fifty kills on each database in the long run (`SWATCH_GAUGE_KILLS=50`), a few in every run.
 */
import { spawn, type ChildProcess } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFile, rm } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { setTimeout as sleep } from 'node:timers/promises';
import pg from 'pg';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { AdmittedPhoto, Check, MeasurementJob, Piece, Problem } from '../../server/api/schemas.ts';
import { findPostgres, startPostgres, type TestPostgres } from './postgres.ts';
import { clientOf, makeDataFolder, makePicture } from './support.ts';

const KILLS = process.env.SWATCH_GAUGE_KILLS ? Number(process.env.SWATCH_GAUGE_KILLS) : undefined;
const path = (name: string): string => fileURLToPath(new URL(name, import.meta.url));
const binaries = findPostgres();

interface Running {
  child: ChildProcess;
  url: string;
  api: string;
  kill(): Promise<void>;
}

type Victim = 'server' | 'worker' | 'measuring process' | 'database process' | 'database';

const children = new Set<ChildProcess>();
afterAll(() => {
  for (const child of children) child.kill('SIGKILL');
});

/** @param isReal photos are really read, not only waited for */
async function start(environment: NodeJS.ProcessEnv, args: string[] = [], isReal = false): Promise<Running> {
  const task = isReal ? [] : ['--task', path('./troublesomeTask.ts')];
  const child = spawn(process.execPath, ['--import', 'tsx', path('./serverProcess.ts'), ...task, ...args], {
    env: { ...process.env, PORT: '0', ...environment },
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  children.add(child);
  const exited = new Promise<void>((resolve) => child.once('exit', () => resolve()));
  const port = await new Promise<string>((resolve, reject) => {
    child.stdout!.on('data', (chunk: Buffer) => {
      const ready = /ready (\d+)/.exec(String(chunk));
      if (ready) resolve(ready[1]!);
    });
    child.once('exit', (code) => reject(new Error(`the server ended with ${code}`)));
  });
  return {
    child,
    url: `http://127.0.0.1:${port}`,
    api: `http://127.0.0.1:${port}/api/v1`,
    async kill() {
      child.kill('SIGKILL');
      await exited;
      children.delete(child);
    },
  };
}

/** Kills the processes that measure for another one; Linux alone says which they are. */
async function killMeasuring({ child }: Running): Promise<void> {
  const children = await readFile(`/proc/${child.pid}/task/${child.pid}/children`, 'utf8');
  for (const pid of children.split(' ').filter(Boolean)) {
    const command = await readFile(`/proc/${pid}/cmdline`, 'utf8').catch(() => '');
    if (command.includes('visionProcessMain')) process.kill(Number(pid), 'SIGKILL');
  }
}

/** What the server said is kept; compared with what it gives after the kill. */
interface Acknowledged {
  photos: Map<string, string>;
  pieces: Map<string, { revision: number; note: string; plan: unknown }>;
  checks: Map<string, { pieceId: string; rowsDone: number }>;
  jobs: Map<string, unknown>;
}

const hashOf = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/** Ends a maker's work: the program said that it cannot be served for the moment. */
class Away extends Error {}

/**
 * Uploads, measures with a correction, creates, plans, changes and checks pieces, until the connection breaks, the
 * database is away, or it is over.
 */
async function useUntilKilled(
  api: string,
  acknowledged: Acknowledged,
  { pictures, isOver }: { pictures: Buffer[]; isOver: () => boolean },
): Promise<void> {
  const read = async <T>(where: string, answer: Response): Promise<T> => {
    if (answer.ok) return (await answer.json()) as T;
    const { code } = (await answer.json()) as Problem;
    if (answer.status === 503 && code === 'database-away') {
      expect(Number(answer.headers.get('retry-after'))).toBeGreaterThan(0);
      throw new Away();
    }
    throw new Error(`${where}: ${answer.status} ${code}`);
  };
  const client = clientOf(api);
  const post = async <T>(method: string, where: string, body: object): Promise<T> =>
    await read<T>(where, await client.send(method, where, body));
  const oneMaker = async (maker: number): Promise<void> => {
    for (let i = 0; !isOver(); i++) {
      const picture = pictures[(i + maker) % pictures.length]!;
      // Every other time with the wish to measure it at once, as the page asks for.
      const wish: Record<string, string> = i % 2 === 0 ? { measure: '{}' } : {};
      const photo = await read<AdmittedPhoto>(
        'photos',
        await client.upload('/photos', 'photo', picture, 'photo.jpg', wish),
      );
      acknowledged.photos.set(photo.id, hashOf(picture));
      if (photo.measurement) acknowledged.jobs.set(photo.measurement.id, undefined);
      const pointsPx = [
        { x: 1, y: 2 },
        { x: 3, y: 90 },
      ];
      const corrections = [{ axis: 'rows', count: 10 + i, pointsPx }];
      const job = await post<MeasurementJob>('POST', '/measurements', {
        photoId: photo.id,
        options: { corrections },
      });
      acknowledged.jobs.set(job.id, corrections);
      const swatches = [{ id: crypto.randomUUID(), role: 'main', photoId: photo.id, measurementId: job.id }];
      const piece = await post<Piece>('POST', '/pieces', { name: `piece ${i}`, swatches });
      acknowledged.pieces.set(piece.id, { revision: 1, note: '', plan: null });
      for (let revision = 1; revision <= 3; revision++) {
        const note = `change ${revision}`;
        const plan = { ...PLAN, target: { widthMm: 500 + 100 * revision, heightMm: 1000 } };
        const changed = await post<Piece>('PATCH', `/pieces/${piece.id}`, { revision, note, plan });
        acknowledged.pieces.set(piece.id, { revision: changed.revision, note, plan });
      }
      const rowsDone = 20 + i;
      const check = await post<Check>('POST', `/pieces/${piece.id}/checks`, { rowsDone });
      acknowledged.checks.set(check.id, { pieceId: piece.id, rowsDone });
    }
  };
  const outcomes = await Promise.allSettled([0, 1, 2].map(oneMaker));
  for (const outcome of outcomes) {
    // Only the broken connection or an absent database may have ended it: never an answer that was a fault.
    if (outcome.status === 'fulfilled' || outcome.reason instanceof Away) continue;
    const { name, message } = outcome.reason as Error;
    if (name !== 'TypeError') throw new Error(message); // what `fetch` throws for a broken connection
  }
}

const PLAN = {
  gauge: {
    stitchesPer10cm: { value: 14, standardUncertainty: 0.2 },
    rowsPer10cm: { value: 10, standardUncertainty: 0.2 },
  },
  stitch: 'hdc',
};

async function expectAllThere(api: string, acknowledged: Acknowledged): Promise<void> {
  const get = async <T>(where: string): Promise<T> => (await (await fetch(api + where)).json()) as T;
  for (const [id, hash] of acknowledged.photos) {
    const answer = await fetch(`${api}/photos/${id}/image`);
    expect(answer.status).toBe(200);
    expect(hashOf(Buffer.from(await answer.arrayBuffer()))).toBe(hash);
  }
  for (const [id, { revision, note, plan }] of acknowledged.pieces) {
    const piece = await get<Piece>(`/pieces/${id}`);
    // The last change may have been kept just before its acknowledgement was cut off.
    if (piece.revision === revision) expect(piece).toMatchObject({ note, plan });
    else expect(piece.revision).toBe(revision + 1);
    if (revision > 1) expect(await get(`/pieces/${id}/plan`)).toHaveProperty('finished');
  }
  for (const [id, { pieceId, rowsDone }] of acknowledged.checks) {
    const { checks } = await get<Piece>(`/pieces/${pieceId}`);
    expect(checks).toEqual([expect.objectContaining({ id, rowsDone })]);
  }
  for (const [id, corrections] of acknowledged.jobs) {
    const look = async (): Promise<string> => {
      const { state, problem, options } = await get<MeasurementJob>(`/measurements/${id}`);
      expect(options.corrections).toEqual(corrections);
      return problem ? `${state}: ${problem.code}` : state;
    };
    await expect.poll(look, { timeout: 90_000, interval: 100 }).toBe('finished');
  }
}

const cases: [string, 'embedded' | 'postgresql'][] = [
  ['the embedded database', 'embedded'],
  ...(binaries ? [['PostgreSQL', 'postgresql'] as [string, 'postgresql']] : []),
];

describe.each(cases)('on %s', (_name, kind) => {
  let postgres: TestPostgres | null = null;
  let folder: string;
  let environment: NodeJS.ProcessEnv;
  let pictures: Buffer[];
  beforeAll(async () => {
    folder = await makeDataFolder();
    if (kind === 'postgresql') postgres = await startPostgres(binaries!);
    environment = {
      SWATCH_GAUGE_DATA: folder,
      SWATCH_GAUGE_THREADS: '1',
      SWATCH_GAUGE_QUEUE: '1000',
      // Short, so that a job whose worker was killed comes round again soon; long enough to start a process. (The
      // embedded database hands out such jobs as soon as it is opened again.)
      ...(postgres
        ? { DATABASE_URL: await postgres.createDatabase('makers'), SWATCH_GAUGE_MEASURE_SECONDS: '8' }
        : {}),
    };
    pictures = await Promise.all([1, 2, 3, 4].map((seed) => makePicture({ seed })));
  });
  afterAll(async () => {
    await postgres?.stop();
    await rm(folder, { recursive: true, force: true });
  });

  const victims: Victim[] = [
    'server',
    ...(process.platform === 'linux' ? (['measuring process'] as const) : []),
    ...(kind === 'postgresql' ? (['worker', 'database process', 'database'] as const) : []),
  ];
  const kills = KILLS ?? Math.max(2, victims.length);
  it(
    `keeps all that was acknowledged through ${kills} kills of: ${victims.join(', ')}`,
    { timeout: 60_000 + 60_000 * kills },
    async () => {
      let server = await start(environment);
      let worker = postgres ? await start(environment, ['--worker']) : null;
      const killed = new Map<Victim, number>();
      const counts = { photos: 0, pieces: 0, checks: 0, jobs: 0 };
      for (let kill = 0; kill < kills; kill++) {
        const victim = victims[kill % victims.length]!;
        const acknowledged: Acknowledged = {
          photos: new Map(),
          pieces: new Map(),
          checks: new Map(),
          jobs: new Map(),
        };
        let isOver = false;
        const using = useUntilKilled(server.api, acknowledged, { pictures, isOver: () => isOver });
        // The moments are spread over what a maker's requests take: some after so many photos, then some more.
        const wanted = 1 + (kill % 4);
        while (acknowledged.photos.size < wanted) await sleep(2);
        // The last one comes when a maker has got as far as a check, so that every run has everything in it.
        while (kill === kills - 1 && acknowledged.checks.size === 0) await sleep(2);
        await sleep((7 * kill) % 40);
        if (victim === 'server') await server.kill();
        else if (victim === 'worker') await worker!.kill();
        else if (victim === 'measuring process') await killMeasuring(worker ?? server);
        else if (victim === 'database process') await postgres!.killBackend('makers');
        else await postgres!.kill();
        isOver = true;
        await using;
        // Whoever was killed is started again; the others have to get over it by themselves, measuring processes too.
        if (victim === 'server') server = await start(environment);
        else if (victim === 'worker') worker = await start(environment, ['--worker']);
        else await postgres?.restart();
        const ready = async (): Promise<number> => (await fetch(`${server.url}/readyz`)).status;
        await expect.poll(ready, { timeout: 30_000, interval: 50 }).toBe(200);
        await expectAllThere(server.api, acknowledged);
        for (const { child } of [server, ...(worker ? [worker] : [])])
          expect([child.exitCode, child.signalCode]).toEqual([null, null]); // nobody died of another's death
        killed.set(victim, (killed.get(victim) ?? 0) + 1);
        for (const what of Object.keys(counts) as (keyof typeof counts)[])
          counts[what] += acknowledged[what].size;
      }
      if (KILLS)
        console.log(JSON.stringify({ kind, killed: Object.fromEntries(killed), acknowledged: counts }));
      expect(Math.min(...Object.values(counts))).toBeGreaterThan(0);
      await server.kill();
      await worker?.kill();
    },
  );
});

describe.runIf(binaries)('two servers and two workers on one PostgreSQL', () => {
  const sample = fileURLToPath(new URL('../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url));
  it.each([
    // Slow enough that the killed worker has one in hand.
    {
      what: 'with a stand-in for vision',
      jobs: 16,
      seconds: 4,
      picture: makePicture,
      options: { stitch: 'dc' },
    },
    { what: 'for real', jobs: 5, seconds: 15, picture: () => readFile(sample), options: { stitch: 'hdc' } },
  ])(
    'measure every acknowledged photo exactly once though a worker is killed, $what',
    { timeout: 300_000 },
    async ({ jobs: count, seconds, picture, options }) => {
      const isReal = options.stitch === 'hdc';
      const postgres = await startPostgres(binaries!);
      const folder = await makeDataFolder();
      const url = await postgres.createDatabase('shared');
      const environment = {
        SWATCH_GAUGE_DATA: folder,
        DATABASE_URL: url,
        SWATCH_GAUGE_THREADS: '1',
        SWATCH_GAUGE_MEASURE_SECONDS: String(seconds),
      };
      const servers = await Promise.all([1, 2].map(() => start(environment, ['--no-jobs'], isReal)));
      const workers = await Promise.all([1, 2].map(() => start(environment, ['--worker'], isReal)));
      const client = new pg.Client({ connectionString: url });
      await client.connect();
      // Notes every answer that is stored, so that one stored twice would show.
      await client.query(`
        create table answers (id uuid);
        create function note_answer() returns trigger language plpgsql as $$
          begin insert into answers values (new.id); return new; end $$;
        create trigger note_answer after update of result on measurements
          for each row when (new.result is not null) execute function note_answer();`);

      const bytes = await picture();
      const makerOf = (i: number) => clientOf(servers[i % 2]!.api);
      const photos: string[] = [];
      for (let i = 0; i < count; i++) photos.push((await makerOf(i).uploadPhoto(bytes)).id);
      // All at once: a photo may be measured sooner than the next one is received.
      const asked = await Promise.all(photos.map((photo, i) => makerOf(i).askFor(photo, options)));
      const jobs = asked.map(({ id }) => id);
      // Both workers have one in hand: one of them dies with it.
      const inHand = async (): Promise<number> =>
        (await client.query("select from measurements where state = 'running'")).rowCount ?? 0;
      await expect.poll(inHand, { timeout: 60_000, interval: 20 }).toBe(2);
      await workers[0]!.kill();

      const { api } = servers[0]!;
      const done: MeasurementJob[] = [];
      for (const id of jobs) {
        const look = async (): Promise<string> => {
          const job = (await (await fetch(`${api}/measurements/${id}`)).json()) as MeasurementJob;
          if (job.state === 'finished') done.push(job);
          return job.state;
        };
        await expect.poll(look, { timeout: 200_000, interval: 200 }).toBe('finished');
      }
      const { rows } = await client.query<{ n: number; lost: number }>(
        `select (select count(*)::int from answers) as n,
           (select count(*)::int from measurements where attempts > 1) as lost`,
      );
      expect(rows[0]!.n).toBe(count);
      expect(rows[0]!.lost).toBeLessThanOrEqual(1);
      if (isReal) {
        expect(rows[0]!.lost).toBe(1); // it takes seconds: the killed one cannot just have finished
        // The same photo: the same answer, whoever measured it.
        const answers = new Set(done.map(({ measurement }) => JSON.stringify(measurement!.gauge)));
        expect(answers.size).toBe(1);
        expect(done[0]!.measurement!.status).toBe('ok');
      }
      await client.end();
      for (const process of [...servers, workers[1]!]) await process.kill();
      await postgres.stop();
      await rm(folder, { recursive: true, force: true });
    },
  );
});
