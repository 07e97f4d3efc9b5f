/**
 * One maker never sees another's piece: every route that the router really has, asked for by a stranger and by
 * another maker. A route that is added is asked too, or, if these tests cannot know what it should say, stops
 * them until it is sorted in below.
 */
import { randomUUID } from 'node:crypto';
import { sql } from 'kysely';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openApiDocument } from '../../server/api/openapi.ts';
import type { Check, MeasurementJob, Photo, Piece, PieceSummary } from '../../server/api/schemas.ts';
import { addressOf, everyRoute, type Route } from './everyRoute.ts';
import { startHostedServer, type HostedServer, type Maker } from './hosted.ts';
import { makePicture } from './support.ts';

/** What a stranger may ask: how to get in, and what says nothing about anybody. */
const OPEN_TO_STRANGERS = [
  'GET /healthz',
  'GET /readyz',
  'GET /',
  'GET /api/v1/session',
  'GET /api/v1/openapi.json',
  'GET /api/v1/docs',
  'GET /api/v1/docs.css',
  'POST /api/v1/account',
  'POST /api/v1/sign-in',
  'POST /api/v1/pairings/redeem',
];

/** Routes without an id in their address that a signed-in maker may ask; each is looked at below by name. */
const ABOUT_ONESELF = [
  'GET /api/v1/pieces',
  'POST /api/v1/pieces',
  'POST /api/v1/pieces/import',
  'POST /api/v1/photos',
  'POST /api/v1/measurements',
  'PATCH /api/v1/account',
  'DELETE /api/v1/account',
  'POST /api/v1/sign-out',
];
/** The same for everybody, whoever asks. */
const ABOUT_NOBODY = [
  'GET /api/v1/samples',
  'GET /api/v1/samples/:name/image',
  'POST /api/v1/samples/:name/photo',
  'POST /api/v1/plans',
  'GET /api/v1/measuring-sheet.pdf',
];
/** The computer that runs the program only; on a hosted server no maker is that. */
const FOR_THE_COMPUTER = ['GET /metrics', 'POST /api/v1/pairings', 'DELETE /api/v1/pairings'];

const nameOf = ({ method, path }: Route): string => `${method} ${path}`;

let server: HostedServer;
let routes: Route[];
let hers: Maker;
let other: Maker;
const ids = { photo: '', piece: '', check: '', measurement: '' };

beforeAll(async () => {
  server = await startHostedServer();
  routes = everyRoute(server);
  hers = await server.join('Thora');
  other = await server.join('Unn');
  const photo = (await (await hers.upload('/photos', 'photo', await makePicture())).json()) as Photo;
  const job = (await (
    await hers.send('POST', '/measurements', { photoId: photo.id })
  ).json()) as MeasurementJob;
  const swatches = [{ id: randomUUID(), role: 'main', photoId: photo.id, measurementId: job.id }];
  const piece = (await (await hers.send('POST', '/pieces', { name: 'Hers', swatches })).json()) as Piece;
  const check = (await (
    await hers.send('POST', `/pieces/${piece.id}/checks`, { rowsDone: 3, photoIds: [photo.id] })
  ).json()) as Check;
  Object.assign(ids, { photo: photo.id, piece: piece.id, check: check.id, measurement: job.id });
});
afterAll(async () => {
  await server.stop();
});

/** Her ids where another maker's address would have them; unknown kinds of ids stop the test. */
const herAddress = (route: Route): string => {
  const kind = /^\/api\/v1\/(photo|measurement|piece)s\//.exec(route.path)?.[1] as keyof typeof ids;
  if (!ids[kind]) throw new Error(`${nameOf(route)}: whose ids are these? Teach this test.`);
  return addressOf(route, { id: ids[kind], checkId: ids.check });
};

const ask = (who: Maker, { method }: Route, address: string): Promise<Response> => {
  const body = method === 'PATCH' ? { revision: 1, name: 'Mine' } : method === 'POST' ? {} : undefined;
  return address.startsWith('/api/v1')
    ? who.send(method, address.replace('/api/v1', ''), body)
    : fetch(server.api.replace('/api/v1', address), {
        method,
        headers: { 'x-forwarded-for': '203.0.113.1' },
      });
};

const withId = (): Route[] =>
  routes.filter((route) => /:\w*id\b/i.test(route.path) && !OPEN_TO_STRANGERS.includes(nameOf(route)));

describe('the router', () => {
  it('has no route that is not sorted in here', () => {
    const known = new Set([
      ...OPEN_TO_STRANGERS,
      ...ABOUT_ONESELF,
      ...ABOUT_NOBODY,
      ...FOR_THE_COMPUTER,
      ...withId().map(nameOf),
    ]);
    expect(routes.map(nameOf).filter((name) => !known.has(name))).toEqual([]);
  });

  it('has every route that is described, and describes every one of the API', () => {
    const described = Object.entries(openApiDocument().paths).flatMap(([path, methods]) =>
      Object.keys(methods).map((method) => `${method.toUpperCase()} ${path.replaceAll(/\{(\w+)\}/g, ':$1')}`),
    );
    const there = routes.map(nameOf).filter((name) => name.includes('/api/v1/'));
    const undescribed = ['GET /api/v1/openapi.json', 'GET /api/v1/docs', 'GET /api/v1/docs.css'];
    expect(described.toSorted()).toEqual(there.filter((name) => !undescribed.includes(name)).toSorted());
  });
});

describe('a stranger', () => {
  it('is turned away everywhere but at the door', async () => {
    const open: string[] = [];
    for (const route of routes) {
      const answer = await ask(server.someone(), route, addressOf(route));
      await answer.arrayBuffer();
      if (answer.status !== 401) open.push(nameOf(route));
    }
    expect(open.toSorted()).toEqual(OPEN_TO_STRANGERS.toSorted());
  });

  it('with her very ids is turned away too', async () => {
    for (const route of withId()) {
      const answer = await ask(server.someone(), route, herAddress(route));
      expect([nameOf(route), answer.status]).toEqual([nameOf(route), 401]);
    }
  });
});

describe('another maker', () => {
  it('does not find hers, by any route that takes an id', async () => {
    expect(withId().length).toBeGreaterThanOrEqual(18);
    for (const route of withId()) {
      const answer = await ask(other, route, herAddress(route));
      const { code } = (await answer.json()) as { code: string };
      expect([nameOf(route), answer.status, code]).toEqual([nameOf(route), 404, 'not-found']);
    }
  });

  it('while she does, by every one that only looks', async () => {
    for (const route of withId().filter(({ method }) => method === 'GET')) {
      const answer = await ask(hers, route, herAddress(route));
      if (!answer.body || route.path.endsWith('/events')) await answer.body?.cancel();
      // Neither measured nor planned yet, which says as much as a picture that it is hers.
      const { code } = answer.ok ? { code: 'ok' } : ((await answer.json()) as { code: string });
      expect([nameOf(route), code]).not.toEqual([nameOf(route), 'not-found']);
    }
  });

  it('cannot put what is hers into something of her own', async () => {
    const swatches = [{ id: randomUUID(), role: 'main', photoId: ids.photo }];
    expect((await other.send('POST', '/pieces', { name: 'Mine', swatches })).status).toBe(410);
    expect((await other.send('POST', '/measurements', { photoId: ids.photo })).status).toBe(410);
    const mine = (await (await other.send('POST', '/pieces', { name: 'Mine' })).json()) as Piece;
    expect((await other.send('PATCH', `/pieces/${mine.id}`, { revision: 1, swatches })).status).toBe(410);
    expect((await other.send('POST', `/pieces/${mine.id}/checks`, { photoIds: [ids.photo] })).status).toBe(
      410,
    );
    // Her check below a piece of one's own
    expect((await other.send('DELETE', `/pieces/${mine.id}/checks/${ids.check}`)).status).toBe(404);
  });

  it('gets nothing of her measurement by naming it in a piece of her own', async () => {
    const swatches = [{ id: randomUUID(), role: 'main', measurementId: ids.measurement }];
    const mine = (await (await other.send('POST', '/pieces', { name: 'Curious', swatches })).json()) as Piece;
    const zip = Buffer.from(await (await other.send('GET', `/pieces/${mine.id}/export`)).arrayBuffer());
    expect(zip.includes(ids.photo)).toBe(false);
  });

  it('cannot keep her from deleting her photo by naming it in a note', async () => {
    const photo = (await (
      await hers.upload('/photos', 'photo', await makePicture({ seed: 2 }))
    ).json()) as Photo;
    await other.send('POST', '/pieces', { name: 'Naming', note: photo.id });
    expect((await hers.send('DELETE', `/photos/${photo.id}`)).status).toBe(204);
  });

  it('sees only her own in lists', async () => {
    for (const path of ['/pieces', '/pieces?deleted=true']) {
      const pieces = (await (await other.send('GET', path)).json()) as PieceSummary[];
      expect(pieces.map(({ id }) => id)).not.toContain(ids.piece);
    }
    const own = (await (await hers.send('GET', '/pieces')).json()) as PieceSummary[];
    expect(own.map(({ name }) => name)).toEqual(['Hers']);
  });

  it('is not the computer that runs the program', async () => {
    for (const name of FOR_THE_COMPUTER) {
      const [method, path] = name.split(' ') as [string, string];
      const answer = path.startsWith('/api/v1')
        ? await other.send(method, path.replace('/api/v1', ''), {})
        : await fetch(server.api.replace('/api/v1', path), {
            headers: { cookie: other.cookie, 'x-forwarded-for': '203.0.113.1' },
          });
      expect([name, answer.status]).toEqual([name, 403]);
    }
  });
});

describe('what is hers', () => {
  it('is unchanged by all this', async () => {
    const { db } = server.services.database;
    const piece = await db
      .selectFrom('pieces')
      .selectAll()
      .where('id', '=', ids.piece)
      .executeTakeFirstOrThrow();
    expect(piece).toMatchObject({ name: 'Hers', revision: 1, deleted_at: null });
    const { rows } = await sql<{ state: string; checks: number }>`
      select state, (select count(*)::int from checks where deleted_at is null) as checks
      from measurements where id = ${ids.measurement}`.execute(db);
    expect(rows).toEqual([{ state: 'queued', checks: 1 }]);
  });
});
