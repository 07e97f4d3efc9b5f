/** One maker never reaches what is another's: every route that takes an id, asked for someone else's. */
import { randomUUID } from 'node:crypto';
import { sql } from 'kysely';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openApiDocument } from '../../server/api/openapi.ts';
import type { Photo, Piece, PieceSummary } from '../../server/api/schemas.ts';
import { makePicture, startTestServer, type TestServer } from './support.ts';

let server: TestServer;
const ids = { photo: '', piece: '', check: '', measurement: randomUUID() };

beforeAll(async () => {
  server = await startTestServer({ takesJobs: false });
  // Made as usual, then given to another owner.
  const photo: Photo = await server.uploadPhoto(await makePicture());
  const swatches = [{ id: randomUUID(), role: 'main', photoId: photo.id }];
  const piece = (await (await server.send('POST', '/pieces', { name: 'Hers', swatches })).json()) as Piece;
  const check = (await (
    await server.send('POST', `/pieces/${piece.id}/checks`, { rowsDone: 3 })
  ).json()) as Piece;
  Object.assign(ids, { photo: photo.id, piece: piece.id, check: check.id });
  const { db } = server.services.database;
  const other = randomUUID();
  await sql`
    insert into measurements (id, owner_id, photo_id, options, state)
    values (${ids.measurement}, ${other}, ${photo.id}, '{}', 'queued')`.execute(db);
  for (const table of ['photos', 'pieces', 'checks'] as const) {
    await db.updateTable(table).set({ owner_id: other }).execute();
  }
});
afterAll(async () => {
  await server.stop();
});

const idFor = (path: string): string =>
  path.includes('/photos/') ? ids.photo : path.includes('/measurements/') ? ids.measurement : ids.piece;

const routes = Object.entries(openApiDocument().paths).flatMap(([path, methods]) =>
  path.includes('{id}')
    ? Object.keys(methods).map((method): [string, string] => [method.toUpperCase(), path])
    : [],
);

describe('what is another maker’s', () => {
  it.each(routes)('is not there for %s %s', async (method, path) => {
    const address = path.replace('/api/v1', '').replace('{id}', idFor(path)).replace('{checkId}', ids.check);
    const body = method === 'PATCH' ? { revision: 1, name: 'Mine' } : method === 'POST' ? {} : undefined;
    const answer = await server.send(method, address, body);
    expect(answer.status).toBe(404);
    expect(await answer.json()).toMatchObject({ code: 'not-found' });
  });

  it('is in no list', async () => {
    for (const query of ['', '?deleted=true']) {
      expect((await (await server.send('GET', `/pieces${query}`)).json()) as PieceSummary[]).toEqual([]);
    }
  });

  it('cannot be taken into a piece of one’s own, nor measured', async () => {
    const swatches = [{ id: randomUUID(), role: 'main', photoId: ids.photo }];
    expect((await server.send('POST', '/pieces', { name: 'Mine', swatches })).status).toBe(410);
    expect((await server.send('POST', '/measurements', { photoId: ids.photo })).status).toBe(410);
    const mine = (await (await server.send('POST', '/pieces', { name: 'Mine' })).json()) as Piece;
    expect((await server.send('PATCH', `/pieces/${mine.id}`, { revision: 1, swatches })).status).toBe(410);
    expect((await server.send('POST', `/pieces/${mine.id}/checks`, { photoIds: [ids.photo] })).status).toBe(
      410,
    );
  });

  it('is unchanged by all this', async () => {
    const { db } = server.services.database;
    const piece = await db
      .selectFrom('pieces')
      .selectAll()
      .where('id', '=', ids.piece)
      .executeTakeFirstOrThrow();
    expect(piece).toMatchObject({ name: 'Hers', revision: 1, deleted_at: null });
    const check = await db
      .selectFrom('checks')
      .selectAll()
      .where('id', '=', ids.check)
      .executeTakeFirstOrThrow();
    expect(check.deleted_at).toBeNull();
    const job = await db
      .selectFrom('measurements')
      .selectAll()
      .where('id', '=', ids.measurement)
      .executeTakeFirstOrThrow();
    expect(job.state).toBe('queued');
  });
});
