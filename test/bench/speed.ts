/**
 * `npm run bench -- speed [--times N]`: how long measuring takes, as ratios within this run, so that the figures
 * of a slow and a fast machine can be compared.
 */
import { execFile, fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs, promisify } from 'node:util';
import sharp from 'sharp';
import { median } from 'simple-statistics';
import { openVisionPool, type VisionPool } from '../../server/measuring/visionPool.ts';
import { FRUGAL, QUICK } from '../../server/measuring/visionProcess.ts';
import type { Measurement, Stage } from '../../vision/measurement.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const execute = promisify(execFile);
/** What `parts/measureAlone.mjs` tells. */
interface MeasuredAlone {
  tookMs: number;
  stages: Measurement['timingsMs'];
  status: string;
  peakBytes: number;
}

const pathOf = (name: string): string => fileURLToPath(new URL(name, import.meta.url));

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({ args, options: { times: { type: 'string', default: '7' } } });
  const times = Number(values.times);
  // The program as it is installed, newly built.
  await execute(process.execPath, [pathOf('../../server/deploy/buildProgram.mjs')]);
  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-bench-'));
  try {
    const paths = { 12: join(folder, '12.jpg'), 48: join(folder, '48.jpg') };
    const bytes = await phonePhoto(12);
    await writeFile(paths[12], bytes);
    await writeFile(paths[48], await phonePhoto(48));
    const commandLine = async (...rest: string[]): Promise<number> => {
      const startedMs = performance.now();
      await execute(process.execPath, [pathOf('../../server/bin.mjs'), ...rest], {
        maxBuffer: 1e8,
      });
      return performance.now() - startedMs;
    };
    // Two threads, as for a maker alone; one, as where others are served as well.
    const small = await alone(paths[12], times, 2);
    const narrow = await alone(paths[12], times, 1);
    const large = await alone(paths[48], times, 2);
    const warmMs = median(small.map(({ tookMs }) => tookMs));
    const startUpMs = await commandLine('--help');
    const cold: number[] = [];
    for (let i = 0; i < 3; i++) {
      cold.push(await commandLine('measure', paths[12], '--stitch', 'hdc', '--json'));
    }
    const coldMs = median(cold);
    const { pace, ratios, quickPerSecond } = await inTurns(bytes, times);

    const line = (what: string, value: string, bar: string): void =>
      console.log(`${what.padEnd(44)} ${value.padStart(12)}   ${bar}`);
    const megabytes = (count: number): string => `${(count / 1e6).toFixed(0)} MB`;
    console.log(
      `One JPEG of 12 MP (${megabytes(bytes.length)}), ${times} times; verdict ${small[0]!.status}\n`,
    );
    const multiples = small.map(({ tookMs, decodeMs }) => tookMs / decodeMs);
    line(
      'decode to greyscale (sharp, one thread)',
      `${median(small.map(({ decodeMs }) => decodeMs)).toFixed(0)} ms`,
      '',
    );
    line('measure, warm', `${warmMs.toFixed(0)} ms`, '');
    line('  as a multiple of the decode', `${median(multiples).toFixed(2)} ×`, 'aim ≤ 5');
    line('measure, warm, on one thread', `${median(narrow.map(({ tookMs }) => tookMs)).toFixed(0)} ms`, '');
    line(
      '  as a multiple of the decode',
      `${median(narrow.map(({ tookMs, decodeMs }) => tookMs / decodeMs)).toFixed(2)} ×`,
      '',
    );
    line('measure, 48 MP, warm', `${median(large.map(({ tookMs }) => tookMs)).toFixed(0)} ms`, '');
    line('start of the command line', `${startUpMs.toFixed(0)} ms`, '');
    line('command line, cold', `${coldMs.toFixed(0)} ms`, '');
    line('  as a multiple of warm + start', `${(coldMs / (warmMs + startUpMs)).toFixed(2)} ×`, 'aim ≤ 2.5');
    line('peak memory of a worker, 12 MP', megabytes(small.at(-1)!.peakBytes), 'aim ≤ 450 MB');
    line('peak memory of a worker, 48 MP', megabytes(large.at(-1)!.peakBytes), 'aim: as with 12 MP');
    for (const [count, name] of [
      [1, 'one process'],
      [2, 'two processes'],
    ] as const) {
      line(name, `${pace[count].perSecond.toFixed(2)} /s`, '');
      line('  processor time for a photo', `${(1000 * pace[count].cpuSeconds).toFixed(0)} ms`, '');
    }
    line('  as a multiple of one', `${median(ratios).toFixed(2)} ×`, 'aim ≥ 1.8');
    line('    in each turn', ratios.map((one) => one.toFixed(2)).join(' '), '');
    line(
      'two processes that compile beside it',
      `${quickPerSecond.toFixed(2)} /s`,
      'no more than two processes',
    );
    // Where both take the same processor time, what is missing from 2 went to other programs.
    const costs = pace[2].cpuSeconds / pace[1].cpuSeconds;
    line('  had they the machine to themselves', `${(2 / costs).toFixed(2)} ×`, 'at most');
    console.log('\nStages, warm, median:');
    for (const stage of Object.keys(small[0]!.stages) as Stage[]) {
      line(`  ${stage}`, `${median(small.map(({ stages }) => stages[stage] ?? 0)).toFixed(0)} ms`, '');
    }
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/**
 * Measures warm in a process as the server has them, in turns with what that is compared with, decoding the same file
 * to grey in this one: other work on this machine comes and goes.
 */
async function alone(
  path: string,
  turns: number,
  threads: 1 | 2,
): Promise<(MeasuredAlone & { decodeMs: number })[]> {
  const child = fork(pathOf('./parts/measureAlone.mjs'), [path], {
    execArgv: QUICK,
    env: { ...process.env, ...FRUGAL },
  });
  const measure = async (): Promise<MeasuredAlone> => {
    child.send(threads);
    const [told] = (await once(child, 'message')) as [MeasuredAlone];
    return told;
  };
  const bytes = await readFile(path);
  const decode = async (): Promise<number> => {
    const startedMs = performance.now();
    await sharp(bytes).greyscale().raw().toBuffer();
    return performance.now() - startedMs;
  };
  sharp.cache(false);
  sharp.concurrency(1);
  await decode();
  await measure();
  const done: (MeasuredAlone & { decodeMs: number })[] = [];
  for (let turn = 0; turn < turns; turn++) {
    const decodeMs = await decode();
    done.push({ decodeMs, ...(await measure()) });
  }
  child.disconnect();
  return done;
}

interface Pace {
  perSecond: number;
  /** Processor time for one photo. */
  cpuSeconds: number;
}

/** Photos of one turn of one process. */
const TURN_PHOTOS = 3;

/**
 * What one process and two do in the server's own pool, as they are where several makers wait: each serial, on one core.
 * Beside them two as for a maker alone, which compile in threads of their own: being serial must not cost photos. After
 * every process has had three photos, and in turns, because other work on this machine comes and goes.
 */
async function inTurns(
  bytes: Buffer,
  turns: number,
): Promise<{ pace: Record<1 | 2, Pace>; ratios: number[]; quickPerSecond: number }> {
  const pools = [
    { processes: 1, quickProcesses: 0 },
    { processes: 2, quickProcesses: 0 },
    { processes: 2, quickProcesses: 2 },
  ].map((kind) => ({
    ...kind,
    pool: openVisionPool({ ...kind, timeoutSeconds: 120, threadsWhenAlone: 1 }),
    paces: [] as Pace[],
  }));
  for (const { processes, pool } of pools) await measureMany(pool, bytes, 3 * processes);
  for (let turn = 0; turn < turns; turn++) {
    for (const one of pools) {
      one.paces.push(await measureMany(one.pool, bytes, TURN_PHOTOS * one.processes));
    }
  }
  await Promise.all(pools.map(({ pool }) => pool.close()));
  const [one, two, quick] = pools.map(({ paces }) => paces) as [Pace[], Pace[], Pace[]];
  const middle = (paces: Pace[]): Pace => ({
    perSecond: median(paces.map(({ perSecond }) => perSecond)),
    cpuSeconds: median(paces.map(({ cpuSeconds }) => cpuSeconds)),
  });
  return {
    pace: { 1: middle(one), 2: middle(two) },
    ratios: two.map(({ perSecond }, turn) => perSecond / one[turn]!.perSecond),
    quickPerSecond: middle(quick).perSecond,
  };
}

async function measureMany(pool: VisionPool, bytes: Buffer, count: number): Promise<Pace> {
  const [startedMs, cpuBefore] = [performance.now(), pool.usage().cpuSeconds];
  await Promise.all(Array.from({ length: count }, () => pool.measure({ bytes }, { stitch: 'hdc' })));
  const seconds = (performance.now() - startedMs) / 1000;
  return { perSecond: count / seconds, cpuSeconds: (pool.usage().cpuSeconds - cpuBefore) / count };
}
