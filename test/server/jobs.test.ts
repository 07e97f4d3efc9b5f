import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { AdmittedPhoto, MeasurementJob, Problem } from '../../server/api/schemas.ts';
import { makePicture, OWN, startTestServer, type TestServer } from './support.ts';

const visionTaskFile = fileURLToPath(new URL('./troublesomeTask.ts', import.meta.url));
let server: TestServer;
let photoId: string;
beforeAll(async () => {
  server = await startTestServer({
    visionTaskFile,
    config: { visionProcesses: 2, processHeapMegabytes: 80, measureTimeoutSeconds: 8, longestQueue: 12 },
  });
  photoId = (await server.uploadPhoto(await makePicture())).id;
});
afterAll(async () => {
  await server.stop();
});

describe('a measuring job', () => {
  it('is followed stage by stage to its answer', async () => {
    const answer = await server.send('POST', '/measurements', { photoId });
    expect(answer.status).toBe(202);
    const { id, state } = (await answer.json()) as MeasurementJob;
    expect(state).toBe('queued');
    const events = await (await fetch(`${server.api}/measurements/${id}/events`)).text();
    const jobs = [...events.matchAll(/^data: (.*)$/gm)].map(
      (match) => JSON.parse(match[1]!) as MeasurementJob,
    );
    const last = jobs.at(-1)!;
    expect(last).toMatchObject({ state: 'finished', stagesDone: ['decode', 'scale'] });
    expect(last.measurement?.advice[0]?.code).toBe('no-fabric');
    const lengths = jobs.map(({ stagesDone }) => stagesDone.length);
    expect(lengths).toEqual(lengths.toSorted((a, b) => a - b)); // never backwards
  });

  it('begins with the photo itself when that is asked for', async () => {
    const sendWith = async (measure: string): Promise<Response> => {
      const form = new FormData();
      form.set('measure', measure);
      form.set('photo', new Blob([(await makePicture({ seed: 3 })) as BlobPart]), 'photo.jpg');
      return await fetch(`${server.api}/photos`, { method: 'POST', headers: OWN, body: form });
    };
    const answer = await sendWith('{"reference":"card"}');
    expect(answer.status).toBe(201);
    const { id, measurement } = (await answer.json()) as AdmittedPhoto;
    expect(measurement).toMatchObject({
      photoId: id,
      state: 'queued',
      queuedBefore: 0,
      options: { reference: 'card' },
    });
    const events = await (await fetch(`${server.api}/measurements/${measurement!.id}/events`)).text();
    expect(events).toContain('"state":"finished"');
    // What cannot be meant is refused before anything is kept.
    for (const wrong of ['{"reference":"spoon"}', 'not JSON', '[]']) {
      expect((await sendWith(wrong)).status).toBe(422);
    }
    // Without it a photo is only kept.
    expect(await server.uploadPhoto(await makePicture())).not.toHaveProperty('measurement');
  });

  it('waits for no clock: the queue is woken', async () => {
    const startedMs = performance.now();
    for (let i = 0; i < 5; i++) await server.measure(photoId);
    expect((performance.now() - startedMs) / 5).toBeLessThan(700); // the queue alone would look every 2 s
  });

  it('can be cancelled while it runs, and while it waits', async () => {
    const running = (await (
      await server.send('POST', '/measurements', { photoId, options: { stitch: 'moss' } })
    ).json()) as MeasurementJob;
    await expect
      .poll(
        async () =>
          ((await (await server.send('GET', `/measurements/${running.id}`)).json()) as MeasurementJob).state,
      )
      .toBe('running');
    const cancelled = (await (
      await server.send('DELETE', `/measurements/${running.id}`)
    ).json()) as MeasurementJob;
    expect(cancelled.state).toBe('cancelled');
    expect((await server.measure(photoId)).state).toBe('finished');
    const still = (await (await server.send('GET', `/measurements/${running.id}`)).json()) as MeasurementJob;
    expect(still.state).toBe('cancelled');
  });

  it('for a photo that is not here is refused', async () => {
    const answer = await server.send('POST', '/measurements', { photoId: crypto.randomUUID() });
    expect(answer.status).toBe(410);
  });
});

describe('trouble costs one job only', () => {
  it.each([
    ['a process that aborts', 'garter', 'measuring-failed'],
    ['a process out of memory', 'seed', 'measuring-failed'],
    ['a photo that takes for ever', 'moss', 'took-too-long'],
  ])('%s', { timeout: 60_000 }, async (_name, stitch, code) => {
    const [troubled, fine] = await Promise.all([
      server.measure(photoId, { stitch }),
      server.measure(photoId),
    ]);
    expect(troubled).toMatchObject({ state: 'failed', problem: { code } });
    expect(troubled.problem?.hint).toBeTruthy();
    expect(fine.state).toBe('finished');
    expect((await server.measure(photoId)).state).toBe('finished');
  });
});

describe('too many at once', () => {
  it('are turned away with a time to come back; those taken are all measured', async () => {
    const answers = await Promise.all(
      Array.from({ length: 40 }, () =>
        server.send('POST', '/measurements', { photoId, options: { stitch: 'dc' } }),
      ),
    );
    const taken = answers.filter(({ status }) => status === 202);
    const refused = answers.filter(({ status }) => status === 503);
    expect(taken.length + refused.length).toBe(40);
    expect(refused.length).toBeGreaterThan(0);
    for (const answer of refused) {
      expect(answer.headers.get('retry-after')).toBeTruthy();
      expect(((await answer.json()) as Problem).code).toBe('too-busy');
    }
    for (const answer of taken) {
      const { id } = (await answer.json()) as MeasurementJob;
      const events = await (await fetch(`${server.api}/measurements/${id}/events`)).text();
      expect(events).toContain('"state":"finished"');
    }
  });
});
