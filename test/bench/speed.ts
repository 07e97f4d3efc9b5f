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
import sharp from 'sharp';
import { median } from 'simple-statistics';
import { openVisionPool } from '../../server/measuring/visionPool.ts';
import { FRUGAL, LEAN } from '../../server/measuring/visionProcess.ts';
import type { Stage } from '../../vision/measurement.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const execute = promisify(execFile);
const pathOf = (name: string): string => fileURLToPath(new URL(name, import.meta.url));

interface Alone {
  tookMs: number[];
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

    sharp.cache(false);
    sharp.concurrency(1);
    const decodeMs: number[] = [];
    for (let i = 0; i < times; i++) {
      const startedMs = performance.now();
      await sharp(bytes).greyscale().raw().toBuffer();
      decodeMs.push(performance.now() - startedMs);
    }
    const small = await alone(12);
    const large = await alone(48);
    const warmMs = median(small.tookMs.slice(1));
    const startUpMs = (await commandLine('--help')).ms;
    const cold: number[] = [];
    for (let i = 0; i < 3; i++) {
      cold.push((await commandLine('measure', paths[12], '--stitch', 'hdc', '--json')).ms);
    }
    const coldMs = median(cold);
    const perSecond = { 1: await throughput(bytes, 1, times), 2: await throughput(bytes, 2, times) };

    const line = (what: string, value: string, bar: string): void =>
      console.log(`${what.padEnd(44)} ${value.padStart(12)}   ${bar}`);
    const megabytes = (count: number): string => `${(count / 1e6).toFixed(0)} MB`;
    console.log(`One JPEG of 12 MP (${megabytes(bytes.length)}), ${times} times; verdict ${small.status}\n`);
    line('decode to greyscale (sharp, one thread)', `${median(decodeMs).toFixed(0)} ms`, '');
    line('measure, warm', `${warmMs.toFixed(0)} ms`, '');
    line('  as a multiple of the decode', `${(warmMs / median(decodeMs)).toFixed(2)} ×`, 'aim ≤ 5');
    line('measure, 48 MP, warm', `${median(large.tookMs.slice(1)).toFixed(0)} ms`, '');
    line('start of the command line', `${startUpMs.toFixed(0)} ms`, '');
    line('command line, cold', `${coldMs.toFixed(0)} ms`, '');
    line('  as a multiple of warm + start', `${(coldMs / (warmMs + startUpMs)).toFixed(2)} ×`, 'aim ≤ 2.5');
    line('peak memory of a worker, 12 MP', megabytes(small.peakBytes), 'aim ≤ 450 MB');
    line('peak memory of a worker, 48 MP', megabytes(large.peakBytes), 'aim: as with 12 MP');
    line('one process', `${perSecond[1].toFixed(2)} /s`, '');
    line('two processes', `${perSecond[2].toFixed(2)} /s`, '');
    line('  as a multiple of one', `${(perSecond[2] / perSecond[1]).toFixed(2)} ×`, 'aim ≥ 1.8');
    console.log('\nStages, warm, median:');
    for (const stage of Object.keys(small.stages[0]!) as Stage[]) {
      line(`  ${stage}`, `${median(small.stages.slice(1).map((one) => one[stage] ?? 0)).toFixed(0)} ms`, '');
    }
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** Photos a second through the server's own pool, after every process has had two. */
async function throughput(bytes: Buffer, processes: number, times: number): Promise<number> {
  const pool = openVisionPool({ processes, timeoutSeconds: 120 });
  const measure = () => pool.measure({ bytes }, { stitch: 'hdc' });
  await Promise.all(Array.from({ length: 2 * processes }, measure));
  const startedMs = performance.now();
  const count = processes * times;
  await Promise.all(Array.from({ length: count }, measure));
  const seconds = (performance.now() - startedMs) / 1000;
  await pool.close();
  return count / seconds;
}
