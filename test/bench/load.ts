/**
 * `npm run bench -- load [--clients N] [--seconds N] [--rounds N] [--threads N]`: many makers at once upload a phone
 * photo and ask for it to be measured, while others look at pages. The throughput is compared with what the threads
 * alone measure, without server and clients, just before and just after each round: other work on this machine
 * comes and goes.
 *
 * Server and clients share this machine's cores. The clients that upload run at a low priority, because they
 * stand for other machines; those that look at pages do not, so that their times are the server's. Where other
 * work makes the clock unreliable, the processor time for a photo still tells what the server adds to it.
 */
import { spawn } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { getPriority, loadavg, setPriority, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import autocannon from 'autocannon';
import sharp from 'sharp';
import { linearRegression, mean } from 'simple-statistics';
import { openVisionPool } from '../../server/measuring/visionPool.ts';
import { median, phonePhoto } from './parts/phonePhoto.ts';

const MAIN = fileURLToPath(new URL('../../server/main.ts', import.meta.url));
const OWN = { 'X-Swatch-Gauge': '1' };
const BOUNDARY = 'swatch-gauge-bench';
const PHOTO_BYTES = 4e6;

interface Round {
  perSecond: number;
  cpuSeconds: number;
  alone: { perSecond: number; cpuSeconds: number };
  load: number;
  /** Processor seconds, on Linux. */
  spent: Spent;
}

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: {
      clients: { type: 'string', default: '200' },
      seconds: { type: 'string', default: '60' },
      rounds: { type: 'string', default: '2' },
      threads: { type: 'string', default: '2' },
    },
  });
  const [clients, seconds, rounds, threads] = [
    values.clients,
    values.seconds,
    values.rounds,
    values.threads,
  ].map(Number) as [number, number, number, number];
  const photo = await heavyPhoto();
  const aloneSeconds = Math.max(10, seconds / 3);

  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-bench-'));
  const child = spawn(process.execPath, ['--import', 'tsx', MAIN], {
    env: {
      ...process.env,
      PORT: '0',
      SWATCH_GAUGE_DATA: folder,
      SWATCH_GAUGE_THREADS: String(threads),
      SWATCH_GAUGE_QUEUE: '20',
      // As the container and the unit in server/deploy set it.
      MALLOC_ARENA_MAX: '2',
      LOG_LEVEL: 'error',
    },
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  try {
    const url = await new Promise<string>((resolve, reject) => {
      child.once('exit', () => reject(new Error('the server did not start')));
      child.stdout.on('data', (chunk: Buffer) => {
        const at = /http:\/\/[^/\s]+/.exec(String(chunk));
        if (at) resolve(at[0]);
      });
    });
    await warmUp(url, photo, 4 * threads);
    const finishedAtFirst = await finished(url);

    /** Only while clients are at it; a memory that rests would look flat. */
    const memory: Memory[] = [];
    const uploads: Uploads = { statuses: new Map(), withoutRetryAfter: 0, broken: 0, unexpected: 0 };
    const pages: autocannon.Result[] = [];
    const done: Round[] = [];
    let before = await measuredAlone(photo, threads, aloneSeconds);
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
      const finishedBefore = await finished(url);
      const cpuBefore = await metric(url, 'process_cpu_seconds_total');
      const threadsBefore = cpuByThread(child.pid!);
      const priority = getPriority();
      setPriority(Math.min(19, priority + 10)); // of this thread alone, on Linux
      const startedMs = performance.now();
      const [, looked] = await Promise.all([
        upload(url, photo, { clients, seconds, tally: uploads }),
        // In a thread of its own: this one is busy sending photos, and its own waits are not the server's.
        autocannon({
          workers: 1,
          url: `${url}/api/v1/pieces`,
          connections: 4,
          duration: seconds,
          overallRate: 40,
          timeout: 30,
        }),
      ]);
      setPriority(priority);
      const measured = (await finished(url)) - finishedBefore;
      const cpuSeconds = ((await metric(url, 'process_cpu_seconds_total')) - cpuBefore) / measured;
      const perSecond = measured / ((performance.now() - startedMs) / 1000);
      const [load] = loadavg() as [number];
      const spent = spentByThread(child.pid!, threadsBefore, cpuByThread(child.pid!));
      isOver = true;
      await watching;
      pages.push(looked);
      await allFinished(url, finishedAtFirst + (uploads.statuses.get(202) ?? 0));
      const after = await measuredAlone(photo, threads, aloneSeconds);
      const alone = {
        perSecond: mean([before.perSecond, after.perSecond]),
        cpuSeconds: mean([before.cpuSeconds, after.cpuSeconds]),
      };
      done.push({ perSecond, cpuSeconds, alone, load, spent });
      before = after;
    }
    const measuredInAll = (await finished(url)) - finishedAtFirst;

    const line = (what: string, value: string, bar = ''): void =>
      console.log(`${what.padEnd(48)} ${value.padStart(18)}   ${bar}`);
    const each = (of: (round: Round) => string): string => done.map(of).join(' | ');
    const percent = (share: number): string => `${(100 * share).toFixed(0)} %`;
    console.log(
      `${clients} clients, ${(photo.length / 1e6).toFixed(1)} MB photos, ${rounds} rounds of ${seconds} s, ${threads} vision threads\n`,
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
      'threads alone, before and after',
      each(({ alone }) => alone.perSecond.toFixed(2)),
    );
    line(
      '  share of that',
      each(({ perSecond, alone }) => percent(perSecond / alone.perSecond)),
      'aim ≥ 85 %',
    );
    line(
      'processor time a photo, threads alone',
      each(({ alone }) => `${alone.cpuSeconds.toFixed(2)} s`),
    );
    line(
      'processor time a photo, whole server',
      each(({ cpuSeconds }) => `${cpuSeconds.toFixed(2)} s`),
    );
    line(
      '  share that is measuring',
      each(({ cpuSeconds, alone }) => percent(alone.cpuSeconds / cpuSeconds)),
      'aim ≥ 85 %',
    );
    line(
      '  vision threads, main thread, helpers',
      each(({ spent }) =>
        [spent.vision, spent.main, spent.helpers].map((seconds) => seconds.toFixed(0)).join(' + '),
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
    await new Promise((resolve) => child.once('exit', resolve));
    await rm(folder, { recursive: true, force: true });
  }
}

interface ThreadTime {
  id: number;
  seconds: number;
  nice: number;
}

interface Spent {
  /** They run at a lower priority, by which they are known. */
  vision: number;
  /** HTTP, and the embedded database. */
  main: number;
  /** Files, decoding and encoding, and the collection of garbage. */
  helpers: number;
}

/** Linux counts processor time in hundredths of a second: proc(5). */
const TICKS_A_SECOND = 100;

/** Processor time of each of a process's threads so far; none where there is no `/proc`. */
function cpuByThread(pid: number): ThreadTime[] {
  try {
    return readdirSync(`/proc/${pid}/task`).map((id) => {
      const stat = readFileSync(`/proc/${pid}/task/${id}/stat`, 'utf8');
      const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
      const ticks = Number(fields[11]) + Number(fields[12]); // user and system
      return { id: Number(id), seconds: ticks / TICKS_A_SECOND, nice: Number(fields[16]) };
    });
  } catch {
    return [];
  }
}

function spentByThread(pid: number, before: ThreadTime[], after: ThreadTime[]): Spent {
  const spent: Spent = { vision: 0, main: 0, helpers: 0 };
  const ordinary = after.find(({ id }) => id === pid)?.nice ?? 0;
  for (const { id, seconds, nice } of after) {
    const since = seconds - (before.find((one) => one.id === id)?.seconds ?? 0);
    spent[id === pid ? 'main' : nice > ordinary ? 'vision' : 'helpers'] += since;
  }
  return spent;
}

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
  resident: number;
  heap: number;
  external: number;
}

async function memoryOf(url: string): Promise<Memory> {
  const text = await (await fetch(`${url}/metrics`)).text();
  return {
    resident: metricIn(text, 'process_resident_memory_bytes'),
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
  console.log(`  JavaScript heap of the main thread: ${series(({ heap }) => heap)}`);
  console.log(`  buffers of the main thread: ${series(({ external }) => external)}`);
  line('memory, most', `${(Math.max(...memory.map(({ resident }) => resident)) / 1e6).toFixed(0)} MB`);
  const half = memory.slice(memory.length / 2);
  const { m } = linearRegression(half.map(({ resident }, second) => [second, resident]));
  line('memory, trend over the second half', `${((60 * m) / 1e6).toFixed(1)} MB a minute`, 'aim: flat');
}

/** What as many threads measure with nothing else to do: photos a second, and processor time for one. */
async function measuredAlone(
  photo: Buffer,
  threads: number,
  seconds: number,
): Promise<{ perSecond: number; cpuSeconds: number }> {
  const pool = openVisionPool({ threads, timeoutSeconds: 120 });
  await Promise.all(Array.from({ length: 2 * threads }, () => pool.measure(photo, {})));
  const endMs = performance.now() + 1000 * seconds;
  const startedMs = performance.now();
  const cpuBefore = process.cpuUsage();
  let count = 0;
  const measureOn = async (): Promise<void> => {
    while (performance.now() < endMs) {
      const measurement = await pool.measure(photo, {});
      // The server also keeps a picture in which the card cannot be read.
      await pool.hideReference(photo, measurement);
      count++;
    }
  };
  // One more than there are threads, as in the server: none waits for the next photo.
  await Promise.all(Array.from({ length: threads + 1 }, measureOn));
  const perSecond = count / ((performance.now() - startedMs) / 1000);
  const { user, system } = process.cpuUsage(cpuBefore);
  await pool.close();
  return { perSecond, cpuSeconds: (user + system) / 1e6 / count };
}

/** Has every thread measure something before the clock runs: memory grows until about the fourth photo. */
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
