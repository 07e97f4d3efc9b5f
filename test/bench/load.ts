/**
 * `npm run bench -- load [--clients N] [--seconds N] [--threads N]`: many makers at once upload a phone photo and
 * ask for it to be measured, while others look at pages. The throughput is compared with what the threads alone
 * measure in the same run, without server and clients.
 *
 * Server and clients share this machine's cores. The clients that upload run at a low priority, because they
 * stand for other machines; those that look at pages do not, so that their times are the server's. Where other
 * work makes the clock unreliable, the processor time for a photo still tells what the server adds to it.
 */
import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { getPriority, setPriority, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import autocannon from 'autocannon';
import sharp from 'sharp';
import { openVisionPool } from '../../server/measuring/visionPool.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const MAIN = fileURLToPath(new URL('../../server/main.ts', import.meta.url));
const OWN = { 'X-Swatch-Gauge': '1' };
const BOUNDARY = 'swatch-gauge-bench';

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: {
      clients: { type: 'string', default: '200' },
      seconds: { type: 'string', default: '60' },
      threads: { type: 'string', default: '2' },
    },
  });
  const [clients, seconds, threads] = [values.clients, values.seconds, values.threads].map(Number) as [
    number,
    number,
    number,
  ];
  // As heavy as a phone makes it: the same picture, less squeezed.
  const photo = await sharp(await phonePhoto(12))
    .jpeg({ quality: 97 })
    .toBuffer();
  const alone = await measuredAlone(photo, threads, Math.max(10, seconds / 3));

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
    const memory: number[] = [];
    let isOver = false;
    const watching = (async () => {
      while (!isOver) {
        memory.push(await metric(url, 'process_resident_memory_bytes').catch(() => NaN));
        await sleep(1000);
      }
    })();
    await warmUp(url, photo, 4 * threads);
    const finishedBefore = await finished(url);
    const cpuBefore = await metric(url, 'process_cpu_seconds_total');
    const priority = getPriority();
    setPriority(Math.min(19, priority + 10)); // of this thread alone, on Linux
    const startedMs = performance.now();
    const [uploads, pages] = await Promise.all([
      upload(url, photo, clients, seconds),
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
    const measuredMeanwhile = (await finished(url)) - finishedBefore;
    const cpuPerPhoto = ((await metric(url, 'process_cpu_seconds_total')) - cpuBefore) / measuredMeanwhile;
    const tookSeconds = (performance.now() - startedMs) / 1000;
    isOver = true;
    await watching;

    const perSecond = measuredMeanwhile / tookSeconds;
    const known = memory.filter(Number.isFinite);
    const early = Math.max(...known.slice(0, Math.ceil(known.length / 3)));
    const late = Math.max(...known.slice(-Math.ceil(known.length / 3)));
    const line = (what: string, value: string, bar = ''): void =>
      console.log(`${what.padEnd(48)} ${value.padStart(14)}   ${bar}`);
    console.log(
      `${clients} clients, ${(photo.length / 1e6).toFixed(1)} MB photos, ${seconds} s, ${threads} vision threads\n`,
    );
    for (const [status, count] of [...uploads.statuses].toSorted()) line(`answers ${status}`, String(count));
    line('answers without Retry-After among 429 and 503', String(uploads.withoutRetryAfter), 'aim 0');
    line('broken connections', String(uploads.broken), 'aim 0');
    line('other answers', String(uploads.unexpected), 'aim 0');
    line('photos measured', String(measuredMeanwhile));
    line('  a second', perSecond.toFixed(2));
    line('threads alone, a second', alone.perSecond.toFixed(2));
    line('  share of that', `${((100 * perSecond) / alone.perSecond).toFixed(0)} %`, 'aim ≥ 85 %');
    line('processor time a photo, threads alone', `${alone.cpuSeconds.toFixed(2)} s`);
    line('processor time a photo, whole server', `${cpuPerPhoto.toFixed(2)} s`);
    line(
      '  share that is measuring',
      `${((100 * alone.cpuSeconds) / cpuPerPhoto).toFixed(0)} %`,
      'aim ≥ 85 %',
    );
    line('other pages, 97.5 % answered within', `${pages.latency.p97_5} ms`, 'aim: 95 % ≤ 200 ms');
    line('other pages, 90 % answered within', `${pages.latency.p90} ms`);
    line('other pages answered', String(pages['2xx']));
    line('memory, most in the first third', `${(early / 1e6).toFixed(0)} MB`);
    line('memory, most in the last third', `${(late / 1e6).toFixed(0)} MB`, 'aim: flat');
  } finally {
    child.kill('SIGTERM');
    await new Promise((resolve) => child.once('exit', resolve));
    await rm(folder, { recursive: true, force: true });
  }
}

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
async function upload(url: string, photo: Buffer, clients: number, seconds: number): Promise<Uploads> {
  const tally: Uploads = { statuses: new Map(), withoutRetryAfter: 0, broken: 0, unexpected: 0 };
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
  return tally;
}

async function metric(url: string, name: string): Promise<number> {
  const text = await (await fetch(`${url}/metrics`)).text();
  return text
    .split('\n')
    .filter((line) => line.startsWith(`${name} `) || line.startsWith(`${name}{`))
    .reduce((sum, line) => sum + Number(line.split(' ').at(-1)), 0);
}

const finished = (url: string): Promise<number> => metric(url, 'swatch_gauge_measurements_total');
