import { readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { MeasurementJob, Photo, Sample } from '../../server/api/schemas.ts';
import { startTestServer, type TestServer } from './support.ts';

const connections = join(tmpdir(), `swatch-gauge-connections-${process.pid}`);
let server: TestServer;
let photo: Photo;
let job: MeasurementJob;
const truth = JSON.parse(
  await readFile(new URL('../../fixtures/samples/hdc-swatch-card.json', import.meta.url), 'utf8'),
) as { fabric: { stitchesPer10cm: number; rowsPer10cm: number } };

beforeAll(async () => {
  process.env.SWATCH_GAUGE_TEST_CONNECTIONS = connections;
  await import('./watchConnections.ts');
  const visionTaskFile = fileURLToPath(new URL('./watchedTask.ts', import.meta.url));
  // Busy machines that run all tests at once are slow.
  server = await startTestServer({ visionTaskFile, config: { measureTimeoutSeconds: 120 } });
  photo = (await (await server.send('POST', '/samples/hdc-swatch-card/photo')).json()) as Photo;
  job = await server.measure(photo.id, { stitch: 'hdc' });
}, 240_000);
afterAll(async () => {
  await server.stop();
  await rm(connections, { force: true });
});

describe('from a sample photo to a plan', () => {
  it('the samples are there at once', async () => {
    const samples = (await (await server.send('GET', '/samples')).json()) as Sample[];
    expect(samples.length).toBeGreaterThanOrEqual(1);
    for (const { name, widthPx } of samples) {
      const image = await fetch(`${server.api}/samples/${name}/image?widthPx=200`);
      expect(image.headers.get('content-type')).toBe('image/jpeg');
      expect(widthPx).toBeGreaterThan(200);
    }
    expect((await fetch(`${server.api}/samples/..%2f..%2fpackage/image`)).status).toBe(404);
  });

  it('the photo is measured, close to its truth', () => {
    expect(job).toMatchObject({ state: 'finished', problem: null, measurement: { status: 'ok' } });
    const { stitchesPer10cm, rowsPer10cm } = job.measurement!.gauge!;
    expect(Math.abs(stitchesPer10cm.value / truth.fabric.stitchesPer10cm - 1)).toBeLessThan(0.04);
    expect(Math.abs(rowsPer10cm.value / truth.fabric.rowsPer10cm - 1)).toBeLessThan(0.04);
    expect(job.stagesDone.length).toBeGreaterThan(3);
  });

  it('what was found is drawn over it', async () => {
    const overlay = await fetch(`${server.api}/measurements/${job.id}/overlay?widthPx=400`);
    expect(await sharp(Buffer.from(await overlay.arrayBuffer())).metadata()).toMatchObject({
      format: 'png',
      width: 400,
    });
  });

  it(
    'the kept photo no longer tells what is printed on the card, and measures the same',
    { timeout: 240_000 },
    async () => {
      await expect
        .poll(
          async () =>
            ((await (await server.send('GET', `/photos/${photo.id}`)).json()) as Photo).referenceBlurred,
          {
            timeout: 60_000,
          },
        )
        .toBe(true);
      const again = await server.measure(photo.id, { stitch: 'hdc' });
      const [before, after] = [job, again].map((one) => one.measurement!.gauge!.stitchesPer10cm.value);
      expect(Math.abs(after! / before! - 1)).toBeLessThan(0.01);
    },
  );

  it('a plan follows from the gauge', async () => {
    const { gauge } = job.measurement!;
    const answer = await server.send('POST', '/plans', {
      gauge: { stitchesPer10cm: gauge!.stitchesPer10cm, rowsPer10cm: gauge!.rowsPer10cm },
      stitch: 'hdc',
      target: { widthMm: '90 cm', heightMm: '110 cm' },
    });
    expect(await answer.json()).toMatchObject({
      chain: expect.any(Number) as number,
      rows: expect.any(Number) as number,
    });
  });

  it('prints the measuring sheet, true to size', async () => {
    const { PDFDocument } = await import('pdf-lib');
    for (const [page, widthMm, heightMm] of [
      ['a4', 210, 297], // ISO 216
      ['letter', 215.9, 279.4], // ASME Y14.1
    ] as const) {
      const answer = await fetch(`${server.api}/measuring-sheet.pdf?page=${page}`);
      const [sheet] = (await PDFDocument.load(await answer.arrayBuffer())).getPages();
      expect((sheet!.getWidth() / 72) * 25.4).toBeCloseTo(widthMm, 3);
      expect((sheet!.getHeight() / 72) * 25.4).toBeCloseTo(heightMm, 3);
    }
    expect((await fetch(`${server.api}/measuring-sheet.pdf?page=a3`)).status).toBe(422);
  });

  it('all this without one connection to anywhere but this computer', async () => {
    const noted = (await readFile(connections, 'utf8')).trim().split('\n');
    const outside = noted.filter((line) => !/^(connect|lookup) (127\.0\.0\.1|localhost|::1)$/.test(line));
    expect(noted.length).toBeGreaterThan(0); // the test's own requests: the watch works
    expect(outside).toEqual([]);
  });
});
