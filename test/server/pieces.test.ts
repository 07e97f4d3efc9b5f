import { strToU8, unzipSync, zipSync } from 'fflate';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Check, Piece, PieceSummary, Problem } from '../../server/api/schemas.ts';
import { makePicture, startTestServer, type TestServer } from './support.ts';

let server: TestServer;
beforeAll(async () => {
  server = await startTestServer({ takesJobs: false });
});
afterAll(async () => {
  await server.stop();
});

const PLAN = {
  gauge: { stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 }, rowsPer10cm: 9.1 },
  stitch: 'hdc',
  target: { widthMm: '89 cm', heightMm: '102 cm' },
  colours: [
    { id: 'fog', name: 'Fog, light', skeinGrams: 100, skeinMetres: 200 },
    { id: 'kelp', name: '=Kelp', skeinGrams: 100, skeinMetres: 200 },
  ],
  layout: {
    kind: 'stripes',
    stripes: [
      { colour: 'fog', rows: 2 },
      { colour: 'kelp', rows: 2 },
    ],
  },
};

const json = async <T>(answer: Promise<Response>): Promise<T> => (await (await answer).json()) as T;
const create = (body: object): Promise<Piece> => json(server.send('POST', '/pieces', body));

describe('a piece', () => {
  it('starts with a name only, and is listed', async () => {
    const piece = await create({ name: '  Harbour throw ' });
    expect(piece).toMatchObject({
      name: 'Harbour throw',
      units: 'cm',
      revision: 1,
      swatches: [],
      plan: null,
    });
    const list = await json<PieceSummary[]>(server.send('GET', '/pieces'));
    expect(list.map(({ id }) => id)).toContain(piece.id);
  });

  it('changes only from the revision last seen, so that two pages do not overwrite each other', async () => {
    const { id, revision } = await create({ name: 'Harbour throw' });
    const changed = await json<Piece>(
      server.send('PATCH', `/pieces/${id}`, { revision, note: 'from the attic' }),
    );
    expect(changed).toMatchObject({ revision: 2, note: 'from the attic', name: 'Harbour throw' });
    const stale = await server.send('PATCH', `/pieces/${id}`, { revision, note: 'other' });
    expect(stale.status).toBe(409);
    expect(await stale.json()).toMatchObject({ code: 'revision-stale' });
  });

  it('of several changes at once from one revision, one wins', async () => {
    const { id, revision } = await create({ name: 'Harbour throw' });
    const answers = await Promise.all(
      [1, 2, 3, 4].map((n) => server.send('PATCH', `/pieces/${id}`, { revision, note: `${n}` })),
    );
    expect(answers.map(({ status }) => status).toSorted()).toEqual([200, 409, 409, 409]);
  });

  it('that was deleted comes back whole', async () => {
    const piece = await create({ name: 'Harbour throw', plan: PLAN });
    const { deletedAt } = await json<PieceSummary>(server.send('DELETE', `/pieces/${piece.id}`));
    expect(deletedAt).not.toBeNull();
    expect((await server.send('GET', `/pieces/${piece.id}`)).status).toBe(404);
    const deleted = await json<PieceSummary[]>(server.send('GET', '/pieces?deleted=true'));
    expect(deleted.map(({ id }) => id)).toContain(piece.id);
    expect(await json<Piece>(server.send('POST', `/pieces/${piece.id}/restore`))).toEqual(piece);
  });

  it('keeps checks, which can be deleted and brought back', async () => {
    const { id } = await create({ name: 'Harbour throw' });
    const check = await json<Check>(
      server.send('POST', `/pieces/${id}/checks`, { rowsDone: 34, gramsLeft: { fog: 120 } }),
    );
    expect(check).toMatchObject({ rowsDone: 34, gramsLeft: { fog: 120 }, deletedAt: null });
    await server.send('DELETE', `/pieces/${id}/checks/${check.id}`);
    expect((await json<Piece>(server.send('GET', `/pieces/${id}`))).checks).toEqual([]);
    await server.send('POST', `/pieces/${id}/checks/${check.id}/restore`);
    expect((await json<Piece>(server.send('GET', `/pieces/${id}`))).checks).toEqual([check]);
  });

  it('refuses a plan that cannot be worked out, and names the field', async () => {
    const answer = await server.send('POST', '/pieces', {
      name: 'x',
      plan: { ...PLAN, target: { widthMm: -3, heightMm: 100 } },
    });
    expect(answer.status).toBe(422);
    const problem = (await answer.json()) as Problem;
    expect(problem.errors?.[0]?.field).toBe('target.widthMm');
    expect(problem.hint).toBeTruthy();
  });

  it('refuses a photo that is not here', async () => {
    const swatches = [{ id: crypto.randomUUID(), role: 'main', photoId: crypto.randomUUID() }];
    expect((await server.send('POST', '/pieces', { name: 'x', swatches })).status).toBe(410);
  });
});

describe('a planned piece', () => {
  it('gives the same plan as asking for it directly', async () => {
    const { id } = await create({ name: 'Harbour throw', plan: PLAN });
    const stored = await json<object>(server.send('GET', `/pieces/${id}/plan`));
    expect(stored).toEqual(await json(server.send('POST', '/plans', PLAN)));
    expect(stored).toMatchObject({ stitches: expect.any(Number) as number });
  });

  it('gives its rows as CSV, one line a row, stripes in turn', async () => {
    const { id } = await create({ name: 'Harbour throw', plan: PLAN });
    const { rows, stitches } = await json<{ rows: number; stitches: number }>(
      server.send('GET', `/pieces/${id}/plan`),
    );
    const answer = await server.send('GET', `/pieces/${id}/rows.csv`);
    expect(answer.headers.get('content-disposition')).toContain('Harbour-throw-rows.csv');
    const lines = (await answer.text()).trimEnd().split('\r\n');
    expect(lines).toHaveLength(rows + 1);
    expect(lines[1]).toMatch(new RegExp(`^1,right,${stitches},[\\d.]+,"Fog, light ${stitches}"$`));
    expect(lines[3]).toContain(`'=Kelp ${stitches}`); // no spreadsheet takes it for a formula
  });

  it('gives its yarn as CSV, one line a colour', async () => {
    const { id } = await create({ name: 'Harbour throw', plan: PLAN });
    const text = await (await server.send('GET', `/pieces/${id}/yarn.csv`)).text();
    expect(text.split('\r\n').filter(Boolean)).toHaveLength(3);
  });
});

describe('a piece as one file', () => {
  it('goes out and comes in again with its photos, plan and checks, under new ids', async () => {
    const photo = await server.uploadPhoto(await makePicture());
    const swatches = [{ id: crypto.randomUUID(), role: 'main', photoId: photo.id, weightGrams: 21 }];
    const piece = await create({ name: 'Harbour throw', plan: PLAN, swatches, note: 'naïve “note”' });
    await server.send('POST', `/pieces/${piece.id}/checks`, { photoIds: [photo.id], rowsDone: 12 });

    const file = new Uint8Array(await (await server.send('GET', `/pieces/${piece.id}/export`)).arrayBuffer());
    const again = await json<Piece>(server.upload('/pieces/import', 'piece', file, 'piece.zip'));

    expect(again.id).not.toBe(piece.id);
    expect(again).toMatchObject({ name: piece.name, plan: piece.plan, note: piece.note, units: piece.units });
    expect(again.swatches[0]).toMatchObject({ weightGrams: 21 });
    expect(again.checks[0]).toMatchObject({ rowsDone: 12, photoIds: [again.swatches[0]!.photoId] });
    const image = async (id: string): Promise<Buffer> =>
      Buffer.from(await (await fetch(`${server.api}/photos/${id}/image`)).arrayBuffer());
    expect(again.swatches[0]!.photoId).not.toBe(photo.id);
    expect(await image(again.swatches[0]!.photoId!)).toEqual(await image(photo.id));
  });

  const importing = (entries: Record<string, Uint8Array>): Promise<Response> =>
    server.upload('/pieces/import', 'piece', zipSync(entries), 'piece.zip');

  it('is refused when it is something else, damaged, or from a newer version', async () => {
    const garbage = await server.upload('/pieces/import', 'piece', strToU8('not a zip'), 'x.zip');
    expect(garbage.status).toBe(422);
    expect((await importing({ 'other.txt': strToU8('x') })).status).toBe(422);
    expect(
      (await importing({ 'piece.json': strToU8('{"format":"swatch-gauge-piece","version":1}') })).status,
    ).toBe(422);
    const newer = await importing({ 'piece.json': strToU8('{"format":"swatch-gauge-piece","version":99}') });
    expect(await newer.json()).toMatchObject({ code: 'file-newer' });
  });

  it('leaves nothing behind when one of its photos is none', async () => {
    const photo = await server.uploadPhoto(await makePicture());
    const second = await server.uploadPhoto(await makePicture({ seed: 2 }));
    const swatches = [photo, second].map(({ id }) => ({
      id: crypto.randomUUID(),
      role: 'other',
      photoId: id,
    }));
    const piece = await create({ name: 'Harbour throw', swatches });
    const file = new Uint8Array(await (await server.send('GET', `/pieces/${piece.id}/export`)).arrayBuffer());
    const entries = unzipSync(file);
    entries[`photos/${second.id}.jpg`] = strToU8('no photo');
    const count = async (): Promise<number> => {
      let n = 0;
      for await (const _ of server.services.photos.list()) n++;
      return n;
    };
    const before = await count();
    expect((await importing(entries)).status).toBe(422);
    expect(await count()).toBe(before);
  });

  it('does not open what unpacks to more than it may', async () => {
    const bomb = zipSync({ 'piece.json': new Uint8Array(70 * 1024 * 1024) }, { level: 9 });
    expect(bomb.length).toBeLessThan(1_000_000);
    expect((await server.upload('/pieces/import', 'piece', bomb, 'x.zip')).status).toBe(413);
  });
});
