import { readFile, rm } from 'node:fs/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { planPiece, type PlanSpec } from '../../calc/index.ts';
import type { AdmittedPhoto, MeasurementJob, Piece, PieceSummary } from '../../server/api/schemas.ts';
import { makeDataFolder, makePicture, startTestServer, type TestServer } from './support.ts';

const truth = JSON.parse(
  await readFile(new URL('../../fixtures/samples/hdc-swatch-card.json', import.meta.url), 'utf8'),
) as { fabric: { stitchesPer10cm: number; rowsPer10cm: number } };

let dataFolder: string;
let server: TestServer;
const start = () =>
  startTestServer({ dataFolder, withSamplePiece: true, config: { measureTimeoutSeconds: 120 } });
const get = async <T>(path: string): Promise<T> => (await (await server.send('GET', path)).json()) as T;
const pieces = () => get<PieceSummary[]>('/pieces');

beforeAll(async () => {
  dataFolder = await makeDataFolder();
  server = await start();
});
afterAll(async () => {
  await server.stop();
  await rm(dataFolder, { recursive: true, force: true });
});

describe('a piece to look around in', () => {
  let piece: Piece;

  it('is there by itself at the first start: really measured, close to its truth, and planned', async () => {
    await expect.poll(async () => (await pieces()).length, { timeout: 100_000 }).toBe(1);
    piece = await get<Piece>(`/pieces/${(await pieces())[0]!.id}`);
    const [swatch] = piece.swatches;
    const job = await get<MeasurementJob>(`/measurements/${swatch!.measurementId}`);
    expect(job).toMatchObject({ state: 'finished', measurement: { status: 'ok' } });
    expect(swatch!.gauge).toEqual(job.measurement!.gauge);
    const off = (measured: number, drawn: number) => Math.abs(measured / drawn - 1);
    expect(off(swatch!.gauge!.stitchesPer10cm.value, truth.fabric.stitchesPer10cm)).toBeLessThan(0.03);
    expect(off(swatch!.gauge!.rowsPer10cm.value, truth.fabric.rowsPer10cm)).toBeLessThan(0.03);
    const plan = planPiece(piece.plan as unknown as PlanSpec);
    expect(plan.chain % 10).toBe(2); // multiple of 10, plus 2
    expect(plan.finished.widthMm.value).toBeGreaterThan(1100);
  }, 120_000);

  it('shares its photo and its measurement with whoever looks at the sample next', async () => {
    const [swatch] = piece.swatches;
    const take = async (measure?: object): Promise<AdmittedPhoto> => {
      const answer = await server.send('POST', '/samples/hdc-swatch-card/photo', { measure });
      expect(answer.status).toBe(200);
      return (await answer.json()) as AdmittedPhoto;
    };
    expect(await take({})).toMatchObject({
      id: swatch!.photoId,
      sample: 'hdc-swatch-card',
      measurement: { id: swatch!.measurementId, state: 'finished' },
    });
    expect(await take()).not.toHaveProperty('measurement');
    // With other options it is another measurement, of the same copy.
    const other = await take({ reference: 'ruler' });
    expect(other.id).toBe(swatch!.photoId);
    expect(other.measurement!.id).not.toBe(swatch!.measurementId);
  });

  it('asked for twice at once, a sample is copied once', async () => {
    const answers = await Promise.all(
      [1, 2, 3].map(async () => {
        const answer = await server.send('POST', '/samples/stockinette-ruler/photo', {});
        return ((await answer.json()) as AdmittedPhoto).id;
      }),
    );
    expect(new Set(answers).size).toBe(1);
  });

  it('stays deleted once it was', async () => {
    await server.send('DELETE', `/pieces/${piece.id}`);
    await server.stop();
    server = await start();
    await server.uploadPhoto(await makePicture());
    expect(await pieces()).toEqual([]);
    expect(await get<PieceSummary[]>('/pieces?deleted=true')).toHaveLength(1);
  });
});
