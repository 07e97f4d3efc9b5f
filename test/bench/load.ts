/**
 * `npm run bench -- load [--clients N] [--seconds N] [--rounds N] [--processes N]`: many makers at once upload a phone
 * photo and ask for it to be measured, while others look at pages. The throughput is compared with what the
 * measuring processes alone do, without server and clients, just before and just after each round: other work on this machine
 * comes and goes.
 *
 * Server and clients share this machine's cores. The clients that upload run at a low priority, because they
 * stand for other machines; those that look at pages do not, so that their times are the server's. Where other
 * work makes the clock unreliable, the processor time for a photo still tells what the server adds to it.
 */
import { execFile, spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { getPriority, loadavg, setPriority, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { parseArgs, promisify } from 'node:util';
import autocannon from 'autocannon';
import sharp from 'sharp';
import { linearRegression, mean, median, sum } from 'simple-statistics';
import { openVisionPool } from '../../server/measuring/visionPool.ts';
import { SERVER } from '../../server/measuring/visionProcess.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const pathOf = (name: string): string => fileURLToPath(new URL(name, import.meta.url));
const OWN = { 'X-Swatch-Gauge': '1' };
const BOUNDARY = 'swatch-gauge-bench';
const PHOTO_BYTES = 4e6;

interface Pace {
  perSecond: number;
  /** Processor time for one photo. */
  cpuSeconds: number;
}

interface Round extends Pace {
  alone: Pace;
  load: number;
  spent: Spent;
}

/** Seconds before the clock runs: all clients come at once at first, and the first photos are on their way. */
const RAMP_SECONDS = 15;

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: {
      clients: { type: 'string', default: '200' },
      seconds: { type: 'string', default: '60' },
      rounds: { type: 'string', default: '2' },
      processes: { type: 'string', default: '2' },
    },
  });
  const [clients, seconds, rounds, processes] = [
    values.clients,
    values.seconds,
    values.rounds,
    values.processes,
  ].map(Number) as [number, number, number, number];
  // The program as it is installed, newly built.
  await promisify(execFile)(process.execPath, [pathOf('../../server/deploy/buildProgram.mjs')]);
  const photo = await heavyPhoto();
  const aloneSeconds = Math.min(60, Math.max(10, seconds / 3));

  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-bench-'));
  const child = spawn(process.execPath, [...SERVER, pathOf('../../server/bin.mjs'), 'serve'], {
    env: {
      ...process.env,
      PORT: '0',
      SWATCH_GAUGE_DATA: folder,
      SWATCH_GAUGE_THREADS: String(processes),
      SWATCH_GAUGE_QUEUE: '20',
      LOG_LEVEL: 'error',
    },
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const ended = new Promise<void>((resolve) => child.once('exit', () => resolve()));
  try {
    const url = await new Promise<string>((resolve, reject) => {
      child.once('exit', () => reject(new Error('the server did not start')));
      child.stdout.on('data', (chunk: Buffer) => {
        const at = /http:\/\/[^/\s]+/.exec(String(chunk));
        if (at) resolve(at[0]);
      });
    });
    await warmUp(url, photo, 4 * processes);
    const finishedAtFirst = await finished(url);

    /** Only while clients are at it; a memory that rests would look flat. */
    const memory: Memory[] = [];
    const uploads: Uploads = { statuses: new Map(), withoutRetryAfter: 0, broken: 0, unexpected: 0 };
    const pages: autocannon.Result[] = [];
    const done: Round[] = [];
    let before = await measuredAlone(photo, processes, aloneSeconds);
    for (let round = 0; round < rounds; round++) {
      let isOver = false;
      const watching = (async () => {
        while (!isOver) {
          await memoryOf(url).then(
            (one) => memory.push(one),
            () => {},
          );
          await sleep(1000);
        }
      })();
      const priority = getPriority();
      setPriority(Math.min(19, priority + 10)); // of this thread alone, on Linux
      const [steady, , looked] = await Promise.all([
        watchSteady(url, child.pid!, seconds),
        upload(url, photo, { clients, seconds: seconds + RAMP_SECONDS, tally: uploads }),
        // In a thread of its own: this one is busy sending photos, and its own waits are not the server's.
        autocannon({
          workers: 1,
          url: `${url}/api/v1/pieces`,
          connections: 4,
          duration: seconds + RAMP_SECONDS,
          overallRate: 40,
          timeout: 30,
        }),
      ]);
      setPriority(priority);
      const [load] = loadavg() as [number];
      isOver = true;
      await watching;
      pages.push(looked);
      await allFinished(url, finishedAtFirst + (uploads.statuses.get(202) ?? 0));
      const after = await measuredAlone(photo, processes, aloneSeconds);
      const alone = {
        perSecond: mean([before.perSecond, after.perSecond]),
        cpuSeconds: mean([before.cpuSeconds, after.cpuSeconds]),
      };
      done.push({ ...steady, alone, load });
      before = after;
    }
    const measuredInAll = (await finished(url)) - finishedAtFirst;

    const line = (what: string, value: string, bar = ''): void =>
      console.log(`${what.padEnd(48)} ${value.padStart(18)}   ${bar}`);
    const each = (of: (round: Round) => string): string => done.map(of).join(' | ');
    const percent = (share: number): string => `${(100 * share).toFixed(0)} %`;
    console.log(
      `${clients} clients, ${(photo.length / 1e6).toFixed(1)} MB photos, ${rounds} rounds of ${seconds} s, ${processes} measuring processes\n`,
    );
    line(
      'load average at the end of each round',
      each(({ load }) => load.toFixed(1)),
    );
    for (const [status, count] of [...uploads.statuses].toSorted()) line(`answers ${status}`, String(count));
    line('answers without Retry-After among 429 and 503', String(uploads.withoutRetryAfter), 'aim 0');
    line('broken connections', String(uploads.broken), 'aim 0');
    line('other answers', String(uploads.unexpected), 'aim 0');
    line('photos measured in the end', String(measuredInAll), 'aim: as many as answers 202');
    line(
      'measured a second',
      each(({ perSecond }) => perSecond.toFixed(2)),
    );
    line(
      'measuring alone, before and after',
      each(({ alone }) => alone.perSecond.toFixed(2)),
    );
    line(
      '  share of that',
      each(({ perSecond, alone }) => percent(perSecond / alone.perSecond)),
      'aim ≥ 85 %',
    );
    line(
      'processor time a photo, measuring alone',
      each(({ alone }) => `${alone.cpuSeconds.toFixed(2)} s`),
    );
    line(
      'processor time a photo, whole server',
      each(({ cpuSeconds }) => `${cpuSeconds.toFixed(2)} s`),
    );
    line(
      '  share of that, measuring alone',
      each(({ cpuSeconds, alone }) => percent(alone.cpuSeconds / cpuSeconds)),
      'aim ≥ 85 %',
    );
    line(
      '  share that the measuring processes took of it',
      each(({ spent }) => percent(spent.measuring / (spent.measuring + spent.main + spent.helpers))),
    );
    line(
      '  measuring, main thread, its helpers',
      each(({ spent }) =>
        [spent.measuring, spent.main, spent.helpers].map((seconds) => seconds.toFixed(0)).join(' + '),
      ),
      's in a round',
    );
    line(
      'other pages, 97.5 % answered within',
      pages.map(({ latency }) => `${latency.p97_5} ms`).join(' | '),
      'aim: 95 % ≤ 200 ms',
    );
    line('other pages answered', pages.map((one) => String(one['2xx'])).join(' | '));
    printMemory(memory, line);
  } finally {
    child.kill('SIGTERM');
    await ended;
    await rm(folder, { recursive: true, force: true });
  }
}

/**
 * What the server does from one moment at which a photo is finished to another, about `seconds` later: photos that
 * are in hand at the beginning and at the end, which count but were not paid for or the reverse, are then alike.
 */
async function watchSteady(url: string, pid: number, seconds: number): Promise<Pace & { spent: Spent }> {
  await sleep(1000 * RAMP_SECONDS);
  const begin = await nextFinish(url, pid);
  await sleep(1000 * seconds - (performance.now() - begin.atMs));
  const end = await nextFinish(url, pid);
  const spent = difference(end.spent, begin.spent);
  const photos = end.finished - begin.finished;
  return {
    perSecond: photos / ((end.atMs - begin.atMs) / 1000),
    cpuSeconds: (spent.measuring + spent.main + spent.helpers) / photos,
    spent,
  };
}

/** Waits until one more photo is finished. */
async function nextFinish(
  url: string,
  pid: number,
): Promise<{ finished: number; atMs: number; spent: Spent }> {
  const before = await finished(url);
  for (;;) {
    const now = await finished(url);
    if (now > before) return { finished: now, atMs: performance.now(), spent: await spentBy(url, pid) };
    await sleep(50);
  }
}

/** Processor seconds. */
interface Spent {
  /** As of the last answer of each. */
  measuring: number;
  /** HTTP, and the embedded database. */
  main: number;
  /** Files, encoding for the page, compiling, and the collection of garbage. */
  helpers: number;
}

/** Linux counts processor time in hundredths of a second: proc(5). */
const TICKS_A_SECOND = 100;

/** So far. */
async function spentBy(url: string, pid: number): Promise<Spent> {
  const measuring = await metric(url, 'swatch_gauge_measuring_cpu_seconds_total');
  const whole = await metric(url, 'process_cpu_seconds_total');
  const main = mainThreadSeconds(pid) ?? whole;
  return { measuring, main, helpers: whole - main };
}

function mainThreadSeconds(pid: number): number | null {
  try {
    const stat = readFileSync(`/proc/${pid}/task/${pid}/stat`, 'utf8');
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
    return (Number(fields[11]) + Number(fields[12])) / TICKS_A_SECOND; // user and system
  } catch {
    return null;
  }
}

const difference = (after: Spent, before: Spent): Spent => ({
  measuring: after.measuring - before.measuring,
  main: after.main - before.main,
  helpers: after.helpers - before.helpers,
});

/** As heavy as a phone makes it: the same picture, less and less squeezed. */
async function heavyPhoto(): Promise<Buffer> {
  const picture = await phonePhoto(12);
  for (let quality = 95; ; quality++) {
    const photo = await sharp(picture).jpeg({ quality, chromaSubsampling: '4:4:4' }).toBuffer();
    if (photo.length >= PHOTO_BYTES || quality === 100) return photo;
  }
}

/** Bytes. */
interface Memory {
  /** Of the server and its measuring processes together. */
  resident: number;
  measuring: number;
  heap: number;
  external: number;
}

async function memoryOf(url: string): Promise<Memory> {
  const text = await (await fetch(`${url}/metrics`)).text();
  const measuring = metricIn(text, 'swatch_gauge_measuring_memory_bytes');
  return {
    resident: metricIn(text, 'process_resident_memory_bytes') + measuring,
    measuring,
    heap: metricIn(text, 'nodejs_heap_size_used_bytes'),
    external: metricIn(text, 'nodejs_external_memory_bytes'),
  };
}

const PARTS = 10;

/** The run in ten parts, and where a straight line through its second half leads. */
function printMemory(memory: Memory[], line: (what: string, value: string, bar?: string) => void): void {
  const part = (index: number): Memory[] =>
    memory.slice((index * memory.length) / PARTS, ((index + 1) * memory.length) / PARTS);
  const series = (of: (one: Memory) => number): string =>
    Array.from({ length: PARTS }, (_, index) => (median(part(index).map(of)) / 1e6).toFixed(0)).join(' ');
  console.log(`memory, MB, median of each tenth: ${series(({ resident }) => resident)}`);
  console.log(`  of that the measuring processes: ${series(({ measuring }) => measuring)}`);
  console.log(`  JavaScript heap of the main thread: ${series(({ heap }) => heap)}`);
  console.log(`  buffers of the main thread: ${series(({ external }) => external)}`);
  line('memory, most', `${(Math.max(...memory.map(({ resident }) => resident)) / 1e6).toFixed(0)} MB`);
  const { slope, standardError } = trendOf(memory.slice(memory.length / 2).map(({ resident }) => resident));
  const perMinute = (perSecond: number): string => ((60 * perSecond) / 1e6).toFixed(1);
  line(
    'memory, trend over the second half',
    `${perMinute(slope)} ± ${perMinute(standardError)} MB a minute`,
    'aim: flat',
  );
}

/** Values that are averaged before the line is fitted: what follows each other in a second is much the same. */
const BLOCKS = 20;

/** A straight line through values a second apart: its slope a second, and how sure that is. */
function trendOf(values: number[]): { slope: number; standardError: number } {
  const count = Math.min(BLOCKS, values.length);
  const blocks = Array.from({ length: count }, (_, i) => {
    const [from, to] = [(i * values.length) / count, ((i + 1) * values.length) / count].map(Math.round);
    return [(from! + to! - 1) / 2, mean(values.slice(from, to))];
  });
  const { m, b } = linearRegression(blocks);
  const middle = mean(blocks.map(([x]) => x!));
  const spread = sum(blocks.map(([x]) => (x! - middle) ** 2));
  const left = sum(blocks.map(([x, y]) => (y! - (m * x! + b)) ** 2));
  return { slope: m, standardError: Math.sqrt(left / Math.max(1, count - 2) / spread) };
}

/** What as many processes measure with nothing else to do: photos a second, and processor time for one. */
async function measuredAlone(photo: Buffer, processes: number, seconds: number): Promise<Pace> {
  const pool = openVisionPool({ processes, timeoutSeconds: 120 });
  await Promise.all(Array.from({ length: 4 * processes }, () => pool.measure({ bytes: photo }, {})));
  const endMs = performance.now() + 1000 * seconds;
  const finishes: { atMs: number; cpuSeconds: number }[] = [];
  const measureOn = async (): Promise<void> => {
    while (performance.now() < endMs) {
      const measurement = await pool.measure({ bytes: photo }, {});
      // The server also keeps a picture in which the card cannot be read.
      await pool.hideReference({ bytes: photo }, measurement, null);
      finishes.push({ atMs: performance.now(), cpuSeconds: pool.usage().cpuSeconds });
    }
  };
  // One more than there are processes, as in the server: none waits for the next photo.
  await Promise.all(Array.from({ length: processes + 1 }, measureOn));
  await pool.close();
  // As in the server: from one photo's end to another's, all processes busy.
  const [first, last] = [finishes[0]!, finishes.at(-processes)!];
  const photos = finishes.length - processes;
  return {
    perSecond: photos / ((last.atMs - first.atMs) / 1000),
    cpuSeconds: (last.cpuSeconds - first.cpuSeconds) / photos,
  };
}

/** Has every process measure something before the clock runs: memory grows until about the fourth photo. */
async function warmUp(url: string, photo: Buffer, photos: number): Promise<void> {
  const before = await finished(url);
  const form = new FormData();
  form.set('photo', new Blob([photo as BlobPart]), 'a.jpg');
  const kept = (await (
    await fetch(`${url}/api/v1/photos`, { method: 'POST', headers: OWN, body: form })
  ).json()) as { id: string };
  for (let i = 0; i < photos; i++) {
    await fetch(`${url}/api/v1/measurements`, {
      method: 'POST',
      headers: { ...OWN, 'Content-Type': 'application/json' },
      body: JSON.stringify({ photoId: kept.id }),
    });
  }
  while ((await finished(url)) < before + photos) await sleep(200);
}

interface Uploads {
  statuses: Map<number, number>;
  withoutRetryAfter: number;
  broken: number;
  unexpected: number;
}

/** Each client uploads and asks for the measurement, comes back when told to, over and over. */
async function upload(
  url: string,
  photo: Buffer,
  { clients, seconds, tally }: { clients: number; seconds: number; tally: Uploads },
): Promise<void> {
  const endMs = performance.now() + 1000 * seconds;
  const body = Buffer.concat([
    Buffer.from(
      `--${BOUNDARY}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n`,
    ),
    photo,
    Buffer.from(`\r\n--${BOUNDARY}--\r\n`),
  ]);
  const send = async (path: string, type: string, content: Buffer | string): Promise<unknown> => {
    try {
      const answer = await fetch(url + path, {
        method: 'POST',
        headers: { ...OWN, 'Content-Type': type },
        body: content as BodyInit,
        signal: AbortSignal.timeout(120_000),
      });
      tally.statuses.set(answer.status, (tally.statuses.get(answer.status) ?? 0) + 1);
      const text = await answer.text();
      if (answer.status === 201 || answer.status === 202) return JSON.parse(text) as unknown;
      if (answer.status !== 429 && answer.status !== 503) tally.unexpected++;
      else if (!answer.headers.get('retry-after')) tally.withoutRetryAfter++;
      const waitMs = 1000 * Number(answer.headers.get('retry-after') ?? 1);
      await sleep(Math.max(0, Math.min(waitMs, endMs - performance.now())));
    } catch {
      tally.broken++;
      await sleep(500);
    }
    return null;
  };
  const oneClient = async (): Promise<void> => {
    while (performance.now() < endMs) {
      const kept = (await send('/api/v1/photos', `multipart/form-data; boundary=${BOUNDARY}`, body)) as {
        id: string;
      } | null;
      if (!kept) continue;
      let asked: unknown = null;
      while (!asked && performance.now() < endMs) {
        asked = await send('/api/v1/measurements', 'application/json', JSON.stringify({ photoId: kept.id }));
      }
    }
  };
  await Promise.all(Array.from({ length: clients }, oneClient));
}

/** Waits until every photo that was asked for has its answer. */
async function allFinished(url: string, wanted: number): Promise<void> {
  for (let last = -1, still = 0; still < 120; still++) {
    const now = await finished(url);
    if (now >= wanted) return;
    if (now !== last) still = 0;
    last = now;
    await sleep(500);
  }
}

async function metric(url: string, name: string): Promise<number> {
  return metricIn(await (await fetch(`${url}/metrics`)).text(), name);
}

const metricIn = (text: string, name: string): number =>
  text
    .split('\n')
    .filter((line) => line.startsWith(`${name} `) || line.startsWith(`${name}{`))
    .reduce((sum, line) => sum + Number(line.split(' ').at(-1)), 0);

const finished = (url: string): Promise<number> => metric(url, 'swatch_gauge_measurements_total');
