/**
 * Rubbish on every way in: no crash, no 5xx, no answer later than 10 s, no file left behind. Seeded, so that a
 * failure can be repeated: each case names its number. A thousand cases in every run, 20 000 in the long run
 * (`SWATCH_GAUGE_FUZZ=20000`).
 */
import { readdir } from 'node:fs/promises';
import { deflateRawSync } from 'node:zlib';
import { zipSync } from 'fflate';
import { uniformInt } from 'pure-rand/distribution/uniformInt';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openApiDocument } from '../../server/api/openapi.ts';
import type { Piece } from '../../server/api/schemas.ts';
import { makePicture, OWN, startTestServer, type TestServer } from './support.ts';

const CASES = Number(process.env.SWATCH_GAUGE_FUZZ ?? 1000);
const SLOWEST_MS = 10_000;

let server: TestServer;
let pictures: Buffer[];
let piece: Piece;
beforeAll(async () => {
  server = await startTestServer({ takesJobs: false, config: { visionThreads: 2 } });
  const small = { widthPx: 96, heightPx: 64 };
  pictures = await Promise.all(
    (['jpeg', 'jpeg', 'png', 'webp', 'avif', 'tiff'] as const).map((format) =>
      makePicture({ ...small, format }),
    ),
  );
  const photo = await server.uploadPhoto(pictures[0]!);
  const swatches = [{ id: crypto.randomUUID(), role: 'main', photoId: photo.id }];
  piece = (await (await server.send('POST', '/pieces', { name: 'Harbour throw', swatches })).json()) as Piece;
});
afterAll(async () => {
  await server.stop();
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
];

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

/** Sends one spoiled request; `what` says what it was, for the message of a failure. */
async function sendCase(number: number): Promise<{ what: string; answer: Response }> {
  const random = randomFor(number);
  const kind = random(0, 9);
  if (kind < 5) {
    const spoiler = random(0, SPOILERS.length - 1);
    const bytes = SPOILERS[spoiler]!(pick(random, pictures), random);
    return {
      what: `photo, spoiler ${spoiler}`,
      answer: await server.upload('/photos', 'photo', bytes, pick(random, NAMES)),
    };
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

describe('rubbish', () => {
  it(`${CASES} cases end in an answer below 500, quickly`, { timeout: 60_000 + 60 * CASES }, async () => {
    const statuses = new Map<number, number>();
    let next = 0;
    const heapBefore = process.memoryUsage().heapUsed;
    const sendUntilDone = async (): Promise<void> => {
      while (next < CASES) {
        const number = next++;
        const startedMs = performance.now();
        const { what, answer } = await sendCase(number);
        const text = await answer.text();
        const tookMs = performance.now() - startedMs;
        statuses.set(answer.status, (statuses.get(answer.status) ?? 0) + 1);
        if (answer.status >= 500 || tookMs > SLOWEST_MS) {
          throw new Error(
            `case ${number} (${what}): ${answer.status} after ${tookMs.toFixed(0)} ms: ${text}`,
          );
        }
        if (answer.status >= 400) expect(JSON.parse(text)).toHaveProperty('code');
      }
    };
    await Promise.all([1, 2, 3, 4].map(sendUntilDone));
    // The cases reach all kinds of endings, or they would test nothing.
    expect([...statuses.keys()]).toEqual(expect.arrayContaining([200, 201, 400, 404, 422]));
    expect(({} as { polluted?: unknown }).polluted).toBeUndefined();
    expect(await readdir(server.services.incomingFolder)).toEqual([]);
    global.gc?.();
    expect(process.memoryUsage().heapUsed - heapBefore).toBeLessThan(300e6);
    expect((await fetch(`${server.api.replace('/api/v1', '')}/readyz`)).status).toBe(200);
  });
});
