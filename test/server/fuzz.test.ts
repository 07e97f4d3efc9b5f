/**
 * Rubbish on every way in: no crash, no 5xx, no answer later than 10 s, no file left behind, no growth in memory.
 * Each case has a number, which is its seed: a failure names it. A thousand cases in every run, 20 000 in the long
 * run (`SWATCH_GAUGE_FUZZ=20000`), which also prints its figures; `SWATCH_GAUGE_FUZZ_FROM` says where to begin.
 */
import { readdir, readFile, rm } from 'node:fs/promises';
import { loadavg } from 'node:os';
import { join } from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { crc32, deflateRawSync } from 'node:zlib';
import { zipSync } from 'fflate';
import { uniformInt } from 'pure-rand/distribution/uniformInt';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openApiDocument } from '../../server/api/openapi.ts';
import type { MeasurementJob, Photo, Piece } from '../../server/api/schemas.ts';
import { blankPng } from './blankPng.ts';
import { HEIC_PICTURE } from './heicPicture.ts';
import { makeFolder, makePicture, OWN, startTestServer, type TestServer } from './support.ts';

const CASES = Number(process.env.SWATCH_GAUGE_FUZZ ?? 1000);
const FROM = Number(process.env.SWATCH_GAUGE_FUZZ_FROM ?? 0);
const IS_LONG = CASES > 1000;
/** Wall time; where other work takes the processor away, it is the machine that is slow. */
const SLOWEST_MS = Number(process.env.SWATCH_GAUGE_PATIENCE_MS ?? 10_000);
/** Measuring gives way to everything else: where much else is going on, it waits long. */
const MEASURE_SECONDS = Math.max(60, (4 * SLOWEST_MS) / 1000);
/** One of so many spoiled photos that were taken in is measured as well. */
const MEASURED_ONE_IN = 25;

let server: TestServer;
let pictures: Buffer[];
let swatchPhoto: Buffer;
let bombs: Buffer[];
let piece: Piece;
/** Where everything in this process puts what is temporary. */
let temporary: string;
let temporaryBefore: string | undefined;
beforeAll(async () => {
  temporary = await makeFolder();
  temporaryBefore = process.env.TMPDIR;
  server = await startTestServer({ config: { visionProcesses: 2, measureTimeoutSeconds: MEASURE_SECONDS } });
  // How soon rubbish is answered is asked, not how long two processes that begin take to load what they measure with.
  await server.services.vision.warmUp();
  process.env.TMPDIR = temporary;
  const small = { widthPx: 96, heightPx: 64 };
  pictures = await Promise.all(
    (['jpeg', 'jpeg', 'png', 'webp', 'avif', 'tiff'] as const).map((format) =>
      makePicture({ ...small, format }),
    ),
  );
  pictures.push(HEIC_PICTURE);
  swatchPhoto = await readFile(new URL('../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url));
  bombs = [blankPng(7000, 7000), blankPng(10_900, 10_900), blankPng(60_000, 60_000), blankPng(1e6, 100)];
  const photo = await server.uploadPhoto(pictures[0]!);
  const swatches = [{ id: crypto.randomUUID(), role: 'main', photoId: photo.id }];
  piece = (await (await server.send('POST', '/pieces', { name: 'Harbour throw', swatches })).json()) as Piece;
});
afterAll(async () => {
  await server.stop();
  if (temporaryBefore === undefined) delete process.env.TMPDIR;
  else process.env.TMPDIR = temporaryBefore;
  await rm(temporary, { recursive: true, force: true });
});

type Random = (low: number, high: number) => number;
const randomFor = (seed: number): Random => {
  const generator = xoroshiro128plus(seed);
  return (low, high) => uniformInt(generator, low, high);
};
const pick = <T>(random: Random, from: readonly T[]): T => from[random(0, from.length - 1)]!;

/** One way of spoiling a file. */
const SPOILERS: ((bytes: Buffer, random: Random) => Buffer)[] = [
  (bytes, random) => bytes.subarray(0, random(0, bytes.length)),
  (bytes, random) => {
    const spoiled = Buffer.from(bytes);
    for (let n = random(1, 30); n > 0; n--) spoiled[random(0, bytes.length - 1)]! ^= 1 << random(0, 7);
    return spoiled;
  },
  (bytes, random) => {
    // In the headers, where sizes and counts are.
    const spoiled = Buffer.from(bytes);
    for (let n = random(1, 8); n > 0; n--)
      spoiled[random(2, Math.min(200, bytes.length - 1))] = random(0, 255);
    return spoiled;
  },
  (bytes, random) => {
    const from = random(0, bytes.length - 1);
    return Buffer.concat([bytes.subarray(0, from), bytes.subarray(random(from, bytes.length))]);
  },
  (bytes, random) => Buffer.concat([bytes, bytes.subarray(random(0, bytes.length))]),
  (bytes, random) =>
    Buffer.concat([bytes.subarray(0, random(0, 12)), pick(random, pictures).subarray(random(0, 12))]),
  (_bytes, random) => Buffer.from(Array.from({ length: random(0, 400) }, () => random(0, 255))),
  (bytes, random) => {
    const heic = Buffer.from(bytes);
    heic.write(pick(random, ['ftypheic', 'ftypmif1', 'ftypavif', 'ftypheix']), 4, 'latin1');
    return heic;
  },
  (bytes) =>
    Buffer.concat([Buffer.from('<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg">'), bytes]),
  (bytes) => deflateRawSync(bytes),
  // A drawing that refers to something outside, plain or behind something harmless.
  (_bytes, random) =>
    Buffer.from(
      pick(random, ['', '\ufeff', '<!-- a photo -->\n', ' '.repeat(random(0, 2000))]) +
        `<svg xmlns="http://www.w3.org/2000/svg" width="300" height="300"><image href="${pick(random, [
          'file:///etc/passwd',
          'http://127.0.0.1:9/x.png',
          '../../../etc/hostname',
        ])}"/></svg>`,
    ),
  // Two files in one: a picture that is also an archive, a page, or another picture.
  (bytes, random) =>
    Buffer.concat([
      bytes,
      pick(random, [
        Buffer.from(zipSync({ 'piece.json': Buffer.from('{}') })),
        Buffer.from('<html><script>alert(1)</script></html>'),
        pick(random, pictures),
      ]),
    ]),
  // Sizes that the pixels do not have, or that no memory holds.
  (bytes, random) =>
    resized(bytes, pick(random, [0, 1, 65_535, 40_000, 2 ** 31 - 1, 2 ** 32 - 1, random(1, 20_000)]), random),
  (_bytes, random) => (random(0, 19) === 0 ? pick(random, bombs) : resized(pictures[2]!, 60_000, random)),
];

/** The same file with another width or height written where its format keeps them. */
function resized(bytes: Buffer, size: number, random: Random): Buffer {
  const spoiled = Buffer.from(bytes);
  const which = random(0, 1);
  if (spoiled.toString('latin1', 12, 16) === 'IHDR') {
    spoiled.writeUInt32BE(size, 16 + 4 * which);
    spoiled.writeUInt32BE(crc32(spoiled.subarray(12, 29)), 29);
    return spoiled;
  }
  const frame = spoiled.findIndex((byte, at) => byte === 0xff && /[\xc0-\xc2]/.test(char(spoiled[at + 1])));
  if (spoiled[0] === 0xff && frame > 0) spoiled.writeUInt16BE(size & 0xffff, frame + 5 + 2 * which);
  const extent = spoiled.indexOf('ispe'); // AVIF and HEIC
  if (extent > 0) spoiled.writeUInt32BE(size >>> 0, extent + 8 + 4 * which);
  const webp = spoiled.indexOf('VP8 ');
  if (webp > 0) spoiled.writeUInt16LE(size & 0x3fff, webp + 14 + 2 * which);
  return spoiled;
}
const char = (byte = 0): string => String.fromCharCode(byte);

const NAMES = [
  'a.jpg',
  '../../x',
  'a\u0000b.png',
  'C:\\x',
  '.htaccess',
  '💥'.repeat(200),
  ' ',
  '%2e%2e%2f',
  'a"b\r\nX: y',
];

/** Values that fields do not expect. */
const ODDITIES: unknown[] = [
  null,
  true,
  -1,
  0,
  1e308,
  -0.5,
  2 ** 53 + 2,
  '',
  'NaN',
  '\u0000',
  '\ud800',
  'x'.repeat(20_000),
  [],
  {},
  [[[[[[[[]]]]]]]],
  { __proto__: null, constructor: { prototype: { polluted: true } } },
  '2026-11-25T00:00:00Z',
  '0000-01-01T00:00:00Z',
  "'; drop table pieces; --",
  '00000000-0000-0000-0000-000000000000',
  { $ref: '#' },
];

/** The same value with one place in it replaced, removed, or added to. */
function spoilJson(value: unknown, random: Random): unknown {
  if (typeof value !== 'object' || value === null || random(0, 3) === 0) return pick(random, ODDITIES);
  const copy = structuredClone(value) as Record<string, unknown>;
  const keys = Object.keys(copy);
  const key = keys.length > 0 ? pick(random, keys) : 'name';
  const action = random(0, 4);
  if (action === 0) delete copy[key];
  else if (action === 1)
    copy[pick(random, ['__proto__x', 'extra', '', 'ﬀ', 'toString'])] = pick(random, ODDITIES);
  else copy[key] = spoilJson(copy[key], random);
  return copy;
}

function deepJson(random: Random): string {
  const depth = random(100, 50_000);
  return pick(random, [
    `${'['.repeat(depth)}${']'.repeat(depth)}`,
    `${'{"a":'.repeat(depth)}1${'}'.repeat(depth)}`,
    '['.repeat(depth),
  ]);
}

const point = { x: 3, y: 4 };
const bodies = (): [method: string, path: string, body: unknown][] => [
  [
    'POST',
    '/measurements',
    {
      photoId: piece.swatches[0]!.photoId,
      options: {
        reference: 'manual',
        manual: { type: 'two-points', pointsPx: [point, { x: 50, y: 60 }], lengthMm: 100 },
        stitch: 'hdc',
        regionPx: [point, point, point],
        corrections: [{ axis: 'rows', count: 8, pointsPx: [point, point] }],
        expectedStitchesPer10cm: { low: 10, high: 20 },
        plannedGauge: { stitchesPer10cm: 14, rowsPer10cm: 10 },
      },
    },
  ],
  [
    'POST',
    '/plans',
    {
      gauge: { stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 }, rowsPer10cm: 9.1 },
      stitch: 'hdc',
      target: { widthMm: '89 cm', heightMm: 1020 },
      multiple: { m: 10, plus: 2, parity: 'odd' },
      colours: [{ id: 'a', skeinGrams: 100, skeinMetres: '200 m', dyeLots: [{ lot: 'k', skeins: 3 }] }],
      layout: { kind: 'blocks', bands: [{ rows: 2, across: ['a'] }], carried: true },
      border: { rounds: 3, stitch: 'post-rib', cornerStitches: 3 },
      yarn: { swatchWeight: { stitches: 20, rows: 14, grams: 12 } },
    },
  ],
  [
    'POST',
    '/pieces',
    { name: 'x', units: 'in', terms: 'uk', swatches: piece.swatches, view: { tab: 'plan' } },
  ],
  ['PATCH', `/pieces/${piece.id}`, { revision: 1, name: 'y', swatches: piece.swatches }],
  [
    'POST',
    `/pieces/${piece.id}/checks`,
    {
      photoIds: [piece.swatches[0]!.photoId],
      rowsDone: 12,
      gramsLeft: { a: 10 },
      result: { ok: true },
      note: '',
    },
  ],
  ['POST', '/pairings', { pieceId: piece.id }],
  ['POST', '/pairings/redeem', { code: 'ABCDEFGHJK' }],
];

interface Case {
  /** For the message of a failure. */
  what: string;
  answer: Response;
  /** What is done with a photo that was taken in; takes its own time. */
  after?: (photo: Photo) => Promise<void>;
}

/** Sends one spoiled request. */
async function sendCase(number: number): Promise<Case> {
  const random = randomFor(number);
  const kind = random(0, 10);
  if (kind === 10) return await sendSpoiledForm(random);
  if (kind < 5) {
    if (random(0, 99) === 0) return await measureSpoiled(random);
    const spoiler = random(0, SPOILERS.length - 1);
    const bytes = SPOILERS[spoiler]!(pick(random, pictures), random);
    const answer = await server.upload('/photos', 'photo', bytes, pick(random, NAMES));
    const isMeasured = random(1, MEASURED_ONE_IN) === 1;
    return { what: `photo, spoiler ${spoiler}`, answer, ...(isMeasured ? { after: expectMeasured } : {}) };
  }
  if (kind === 5) {
    const content =
      JSON.stringify(
        spoilJson(
          { format: 'swatch-gauge-piece', version: 1, piece, checks: [], measurements: [], photos: [] },
          random,
        ),
      ) ?? '';
    const zip = Buffer.from(
      zipSync({ [pick(random, ['piece.json', '../piece.json', 'photos/x.jpg'])]: Buffer.from(content) }),
    );
    const bytes = random(0, 1) ? SPOILERS[random(0, 4)]!(zip, random) : zip;
    return { what: 'piece file', answer: await server.upload('/pieces/import', 'piece', bytes, 'x.zip') };
  }
  if (kind === 6) {
    const [method, path] = pick(random, routes());
    const spoiledPath = path.replaceAll(/\{\w+\}/g, () =>
      encodeURIComponent(pick(random, [...NAMES, piece.id, 'x'.repeat(3000)])),
    );
    const query = pick(random, [
      '',
      '?widthPx=-1',
      '?widthPx=1e9',
      '?widthPx=a',
      '?page=a3',
      '?deleted[]=1',
      '?%ff=%00',
      '?__proto__[x]=1',
    ]);
    const answer = await fetch(server.api + spoiledPath + query, {
      method,
      headers: OWN,
      signal: AbortSignal.timeout(SLOWEST_MS),
    });
    return { what: `${method} ${spoiledPath.slice(0, 80)}${query}`, answer };
  }
  const [method, path, body] = pick(random, bodies());
  const text = random(0, 9) === 0 ? deepJson(random) : (JSON.stringify(spoilJson(body, random)) ?? '');
  const type =
    random(0, 19) === 0
      ? pick(random, ['text/plain', 'application/json; charset=utf-7', 'multipart/form-data'])
      : 'application/json';
  const answer = await fetch(server.api + path, {
    method,
    headers: { ...OWN, 'Content-Type': type },
    body: text,
  });
  return { what: `${method} ${path} ${text.slice(0, 300)}`, answer };
}

/** A real photo of cloth with flipped bits, which is kept as it is when its parts hold together: it is measured. */
async function measureSpoiled(random: Random): Promise<Case> {
  const spoiled = Buffer.from(swatchPhoto);
  for (let n = random(1, 40); n > 0; n--) spoiled[random(700, spoiled.length - 1)]! ^= 1 << random(0, 7);
  const answer = await server.upload('/photos', 'photo', spoiled);
  return { what: 'a photo of cloth with flipped bits', answer, after: expectMeasured };
}

let measured = 0;
let measuring: Promise<unknown> = Promise.resolve();
/** Measuring ends with an answer or with what is wrong with the photo, never with a fault of ours. */
async function expectMeasured({ id }: Photo): Promise<void> {
  // One at a time, so that a process is free for the uploads that need one.
  const mine = measuring.then(() => server.measure(id, { stitch: 'hdc' }));
  measuring = mine.catch(() => {});
  const job: MeasurementJob = await mine;
  measured++;
  if (job.state === 'failed') expect(job.problem!.status).toBeLessThan(500);
  else expect(job.state).toBe('finished');
}

/** The envelope of an upload, broken: boundaries, headers, lengths. */
async function sendSpoiledForm(random: Random): Promise<Case> {
  const boundary = 'fuzz';
  const form = Buffer.concat([
    Buffer.from(
      `--${boundary}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n`,
    ),
    pick(random, pictures).subarray(0, 300),
    Buffer.from(`\r\n--${boundary}--\r\n`),
  ]);
  const answer = await fetch(server.api + pick(random, ['/photos', '/pieces/import']), {
    method: 'POST',
    headers: {
      ...OWN,
      'Content-Type': pick(random, [
        `multipart/form-data; boundary=${boundary}`,
        'multipart/form-data',
        'multipart/form-data; boundary=',
        `multipart/form-data; boundary=${'x'.repeat(500)}`,
        `multipart/mixed; boundary=${boundary}`,
      ]),
    },
    body: SPOILERS[random(0, 4)]!(form, random) as BodyInit,
  });
  return { what: 'a broken form', answer };
}

let knownRoutes: [string, string][] | undefined;
/** Every route without a body, but for the one that would cut off the test's own piece. */
function routes(): [method: string, path: string][] {
  return (knownRoutes ??= Object.entries(openApiDocument().paths).flatMap(([path, methods]) =>
    Object.entries(methods)
      .filter(
        ([method, operation]) =>
          method === 'get' && !('requestBody' in operation) && !path.endsWith('/events'),
      )
      .map(([method]): [string, string] => [method.toUpperCase(), path.replace('/api/v1', '')]),
  ));
}

/** Bytes, after the garbage was collected. */
function memoryNow(): { resident: number; heap: number; external: number } {
  setFlagsFromString('--expose-gc');
  (runInNewContext('gc') as () => void)();
  const { rss: resident, heapUsed: heap, external } = process.memoryUsage();
  return { resident, heap, external };
}

describe('rubbish', () => {
  it(`${CASES} cases end in an answer below 500, quickly`, { timeout: 120_000 + 120 * CASES }, async () => {
    const statuses = new Map<number, number>();
    const slow: { ms: number; what: string; load: number }[] = [];
    const memory: ReturnType<typeof memoryNow>[] = [];
    let next = FROM;
    const sendUntilDone = async (): Promise<void> => {
      while (next < FROM + CASES) {
        const number = next++;
        if ((number - FROM) % (CASES / 10) === 0) memory.push(memoryNow());
        const startedMs = performance.now();
        const { what, answer, after } = await sendCase(number);
        const text = await answer.text();
        const tookMs = performance.now() - startedMs;
        if (tookMs > 1000) slow.push({ ms: tookMs, what: `case ${number}: ${what}`, load: loadavg()[0]! });
        statuses.set(answer.status, (statuses.get(answer.status) ?? 0) + 1);
        if (answer.status >= 500 || tookMs > SLOWEST_MS) {
          throw new Error(
            `case ${number} (${what}): ${answer.status} after ${tookMs.toFixed(0)} ms: ${text}`,
          );
        }
        if (answer.status >= 400) expect(JSON.parse(text)).toHaveProperty('code');
        if (answer.status === 201) await after?.(JSON.parse(text) as Photo);
      }
    };
    await Promise.all([1, 2, 3, 4].map(sendUntilDone));
    memory.push(memoryNow());
    if (IS_LONG) {
      const series = (of: keyof (typeof memory)[number]): string =>
        memory.map((one) => (one[of] / 1e6).toFixed(0)).join(' ');
      console.log(
        [
          `cases ${FROM} to ${FROM + CASES - 1}, ${measured} of the photos measured`,
          `answers: ${JSON.stringify(Object.fromEntries([...statuses].toSorted()))}`,
          `slower than a second: ${slow.length}, the slowest:`,
          ...slow
            .toSorted((a, b) => b.ms - a.ms)
            .slice(0, 5)
            .map(({ ms, what, load }) => `  ${ms.toFixed(0)} ms at load ${load.toFixed(1)} (${what})`),
          ...(['resident', 'heap', 'external'] as const).map((of) => `memory, MB, ${of}: ${series(of)}`),
        ].join('\n'),
      );
    }
    // The cases reach all kinds of endings, or they would test nothing.
    if (CASES >= 1000)
      expect([...statuses.keys()]).toEqual(expect.arrayContaining([200, 201, 400, 404, 422]));
    if (CASES >= 1000) expect(measured).toBeGreaterThan(0);
    expect(({} as { polluted?: unknown }).polluted).toBeUndefined();
    // Growth is looked for from the second sample on: the first is from before the processes had worked.
    expect(memory.at(-1)!.heap - memory[1]!.heap).toBeLessThan(50e6);
    await expectNothingLeft();
    expect((await fetch(`${server.api.replace('/api/v1', '')}/readyz`)).status).toBe(200);
  });
});

/**
 * No upload, no temporary file, and no kept picture that no row knows: once all is done, since the reference in the
 * photo that was measured last is hidden after its answer is there, in a file that takes the place of the first.
 */
async function expectNothingLeft(): Promise<void> {
  const left = async (): Promise<Record<string, string[]>> => {
    const files = await readdir(join(server.dataFolder, 'photos'), { recursive: true, withFileTypes: true });
    const kept = new Set(files.filter((entry) => entry.isFile()).map(({ name }) => name));
    const rows = await server.services.database.db.selectFrom('photos').select('blob_key').execute();
    const known = new Set(rows.map(({ blob_key }) => blob_key));
    return {
      incoming: await readdir(server.services.incomingFolder),
      temporary: await readdir(temporary),
      unknown: [...kept].filter((key) => !known.has(key)),
      missing: [...known].filter((key) => !kept.has(key)),
    };
  };
  const nothing = { incoming: [], temporary: [], unknown: [], missing: [] };
  await expect.poll(left, { timeout: 30_000, interval: 200 }).toEqual(nothing);
}
