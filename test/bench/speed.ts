/**
 * `npm run bench -- speed [--times N]`: how long measuring takes, as ratios within this run, so that the figures
 * of a slow and a fast machine can be compared.
 */
import { execFile } from 'node:child_process';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs, promisify } from 'node:util';
import { median } from 'simple-statistics';
import { openVisionPool, type VisionPool } from '../../server/measuring/visionPool.ts';
import { FRUGAL, LEAN } from '../../server/measuring/visionProcess.ts';
import type { Stage } from '../../vision/measurement.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const execute = promisify(execFile);
const pathOf = (name: string): string => fileURLToPath(new URL(name, import.meta.url));

interface Alone {
  tookMs: number[];
  decodeMs: number[];
  stages: Partial<Record<Stage | 'total', number>>[];
  status: string;
  peakBytes: number;
}

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({ args, options: { times: { type: 'string', default: '7' } } });
  const times = Number(values.times);
  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-bench-'));
  try {
    const paths = { 12: join(folder, '12.jpg'), 48: join(folder, '48.jpg') };
    const bytes = await phonePhoto(12);
    await writeFile(paths[12], bytes);
    await writeFile(paths[48], await phonePhoto(48));
    const node = async (args: string[], environment = {}): Promise<{ stdout: string; ms: number }> => {
      const startedMs = performance.now();
      const { stdout } = await execute(process.execPath, args, {
        maxBuffer: 1e8,
        env: { ...process.env, ...environment },
      });
      return { stdout, ms: performance.now() - startedMs };
    };
    /** As a measuring process has it. */
    const alone = async (megapixels: 12 | 48): Promise<Alone> => {
      const script = [pathOf('./parts/measureAlone.ts'), paths[megapixels], String(times)];
      return JSON.parse((await node([...LEAN, '--import', 'tsx', ...script], FRUGAL)).stdout) as Alone;
    };
    const commandLine = (...args: string[]) =>
      node(['--import', 'tsx', pathOf('../../server/cli.ts'), ...args]);

    const small = await alone(12);
    const large = await alone(48);
    const warmMs = median(small.tookMs.slice(1));
    const startUpMs = (await commandLine('--help')).ms;
    const cold: number[] = [];
    for (let i = 0; i < 3; i++) {
      cold.push((await commandLine('measure', paths[12], '--stitch', 'hdc', '--json')).ms);
    }
    const coldMs = median(cold);
    const { pace, ratios } = await inTurns(bytes, times);

    const line = (what: string, value: string, bar: string): void =>
      console.log(`${what.padEnd(44)} ${value.padStart(12)}   ${bar}`);
    const megabytes = (count: number): string => `${(count / 1e6).toFixed(0)} MB`;
    console.log(`One JPEG of 12 MP (${megabytes(bytes.length)}), ${times} times; verdict ${small.status}\n`);
    const multiples = small.tookMs.map((ms, i) => ms / small.decodeMs[i]!).slice(1);
    line('decode to greyscale (sharp, one thread)', `${median(small.decodeMs).toFixed(0)} ms`, '');
    line('measure, warm', `${warmMs.toFixed(0)} ms`, '');
    line('  as a multiple of the decode', `${median(multiples).toFixed(2)} ×`, 'aim ≤ 5');
    line('measure, 48 MP, warm', `${median(large.tookMs.slice(1)).toFixed(0)} ms`, '');
    line('start of the command line', `${startUpMs.toFixed(0)} ms`, '');
    line('command line, cold', `${coldMs.toFixed(0)} ms`, '');
    line('  as a multiple of warm + start', `${(coldMs / (warmMs + startUpMs)).toFixed(2)} ×`, 'aim ≤ 2.5');
    line('peak memory of a worker, 12 MP', megabytes(small.peakBytes), 'aim ≤ 450 MB');
    line('peak memory of a worker, 48 MP', megabytes(large.peakBytes), 'aim: as with 12 MP');
    for (const [count, name] of [
      [1, 'one process'],
      [2, 'two processes'],
    ] as const) {
      line(name, `${pace[count].perSecond.toFixed(2)} /s`, '');
      line('  processor time for a photo', `${(1000 * pace[count].cpuSeconds).toFixed(0)} ms`, '');
    }
    line('  as a multiple of one', `${median(ratios).toFixed(2)} ×`, 'aim ≥ 1.8');
    line('    in each turn', ratios.map((one) => one.toFixed(2)).join(' '), '');
    // Where both take the same processor time, what is missing from 2 went to other programs.
    const costs = pace[2].cpuSeconds / pace[1].cpuSeconds;
    line('  had they the machine to themselves', `${(2 / costs).toFixed(2)} ×`, 'at most');
    console.log('\nStages, warm, median:');
    for (const stage of Object.keys(small.stages[0]!) as Stage[]) {
      line(`  ${stage}`, `${median(small.stages.slice(1).map((one) => one[stage] ?? 0)).toFixed(0)} ms`, '');
    }
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

interface Pace {
  perSecond: number;
  /** Processor time for one photo. */
  cpuSeconds: number;
}

/** Photos of one turn of one process. */
const TURN_PHOTOS = 3;

/**
 * What one process and two do in the server's own pool, after every one has had three photos: in turns, because other
 * work on this machine comes and goes.
 */
async function inTurns(
  bytes: Buffer,
  turns: number,
): Promise<{ pace: Record<1 | 2, Pace>; ratios: number[] }> {
  const pools = ([1, 2] as const).map((processes) => ({
    processes,
    pool: openVisionPool({ processes, timeoutSeconds: 120 }),
    paces: [] as Pace[],
  }));
  for (const { processes, pool } of pools) await measureMany(pool, bytes, 3 * processes);
  for (let turn = 0; turn < turns; turn++) {
    for (const one of pools) {
      one.paces.push(await measureMany(one.pool, bytes, TURN_PHOTOS * one.processes));
    }
  }
  await Promise.all(pools.map(({ pool }) => pool.close()));
  const [one, two] = pools.map(({ paces }) => paces) as [Pace[], Pace[]];
  const middle = (paces: Pace[]): Pace => ({
    perSecond: median(paces.map(({ perSecond }) => perSecond)),
    cpuSeconds: median(paces.map(({ cpuSeconds }) => cpuSeconds)),
  });
  return {
    pace: { 1: middle(one), 2: middle(two) },
    ratios: two.map(({ perSecond }, turn) => perSecond / one[turn]!.perSecond),
  };
}

async function measureMany(pool: VisionPool, bytes: Buffer, count: number): Promise<Pace> {
  const [startedMs, cpuBefore] = [performance.now(), pool.usage().cpuSeconds];
  await Promise.all(Array.from({ length: count }, () => pool.measure({ bytes }, { stitch: 'hdc' })));
  const seconds = (performance.now() - startedMs) / 1000;
  return { perSecond: count / seconds, cpuSeconds: (pool.usage().cpuSeconds - cpuBefore) / count };
}
