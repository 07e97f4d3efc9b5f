/** The door of a hosted server: who gets in, with what, and what is kept of it. */
import { readdir, readFile, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import fc from 'fast-check';
import { sql } from 'kysely';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { readConfig, type Config } from '../../server/config.ts';
import type { Photo, Piece, PieceSummary, Session } from '../../server/api/schemas.ts';
import { cookieIn, HOSTED_AT, PASSWORD, startHostedServer, type HostedServer } from './hosted.ts';
import { makeFolder, makePicture, startTestServer } from './support.ts';

let server: HostedServer;
let notes: string;
beforeAll(async () => {
  notes = await makeFolder();
  process.env.SWATCH_GAUGE_TEST_CONNECTIONS = join(notes, 'connections');
  await import('./watchConnections.ts');
  server = await startHostedServer();
});
afterAll(async () => {
  await server.stop();
  await rm(notes, { recursive: true, force: true });
});

/** The same server with some settings changed for a while. */
async function withSettings(settings: Partial<Config>, work: () => Promise<void>): Promise<void> {
  const { config } = server.services;
  const before = { ...config };
  Object.assign(config, settings);
  try {
    await work();
  } finally {
    Object.assign(config, before);
  }
}

const codeOf = async (answer: Response): Promise<unknown> =>
  ((await answer.json()) as { code: unknown }).code;

describe('an account', () => {
  it('is a name and a password; the cookie is for this site, over https, and no script can read it', async () => {
    const answer = await server.someone().send('POST', '/account', { name: 'Marit', password: PASSWORD });
    expect(answer.status).toBe(201);
    expect(await answer.json()).toEqual({ name: 'marit' });
    const [line] = answer.headers.getSetCookie();
    expect(line).toMatch(/^__Secure-/); // a prefix that browsers accept over https only (RFC 6265bis)
    expect(line).toMatch(/; HttpOnly/i);
    expect(line).toMatch(/; Secure/i);
    expect(line).toMatch(/; SameSite=Strict/i);
    const session = (await (
      await server.someone(cookieIn(answer)).send('GET', '/session')
    ).json()) as Session;
    expect(session).toMatchObject({ mode: 'hosted', isHost: false, account: { name: 'marit' } });
  });

  it('is entered again by its name in any case, and left by signing out, also on another copy of the page', async () => {
    await server.join('Tove');
    const again = await server.someone().send('POST', '/sign-in', { name: ' TOVE ', password: PASSWORD });
    expect(again.status).toBe(200);
    const tove = server.someone(cookieIn(again));
    expect((await tove.send('GET', '/pieces')).status).toBe(200);
    const out = await tove.send('POST', '/sign-out');
    expect(out.status).toBe(204);
    expect(out.headers.getSetCookie().join()).toMatch(/Max-Age=0/i);
    expect((await tove.send('GET', '/pieces')).status).toBe(401);
  });

  it('does not open to a wrong password, and does not say whether the name is there', async () => {
    await server.join('Sidsel');
    const wrong = await server.someone().send('POST', '/sign-in', { name: 'Sidsel', password: 'wrong' });
    const nobody = await server.someone().send('POST', '/sign-in', { name: 'Nobody', password: 'wrong' });
    expect([wrong.status, nobody.status]).toEqual([403, 403]);
    expect(await wrong.text()).toBe(await nobody.text());
    expect(wrong.headers.getSetCookie()).toEqual([]);
    for (const name of ['!', 'x'.repeat(60)]) {
      const impossible = await server.someone().send('POST', '/sign-in', { name, password: 'wrong' });
      expect([name, impossible.status]).toEqual([name, 403]);
    }
  });

  it('keeps its name to itself, also from two who want it at once', async () => {
    const both = await Promise.all(
      ['Runa', 'runa'].map((name) => server.someone().send('POST', '/account', { name, password: PASSWORD })),
    );
    expect(both.map(({ status }) => status).toSorted()).toEqual([201, 409]);
    const third = await server.someone().send('POST', '/account', { name: 'RUNA', password: PASSWORD });
    expect(await codeOf(third)).toBe('name-taken');
  });

  it.each([
    ['a short password', { name: 'Astrid', password: 'short' }],
    ['an odd name', { name: '<b>', password: PASSWORD }],
    ['a field too many', { name: 'Astrid', password: PASSWORD, isAdmin: true }],
  ])('is not made with %s', async (_what, entry) => {
    const answer = await server.someone().send('POST', '/account', entry);
    expect(await codeOf(answer)).toBe('fields-invalid');
  });

  it('changes its password, which ends every other session', async () => {
    const first = await server.join('Gunnvor');
    const second = server.someone(
      cookieIn(await server.someone().send('POST', '/sign-in', { name: 'Gunnvor', password: PASSWORD })),
    );
    const newPassword = 'eight white swans';
    const refused = await first.send('PATCH', '/account', { password: 'not it', newPassword });
    expect(await codeOf(refused)).toBe('wrong-password');
    const changed = await first.send('PATCH', '/account', { password: PASSWORD, newPassword });
    expect(changed.status).toBe(204);
    expect((await second.send('GET', '/pieces')).status).toBe(401);
    expect((await server.someone(cookieIn(changed)).send('GET', '/pieces')).status).toBe(200);
    const old = await server.someone().send('POST', '/sign-in', { name: 'Gunnvor', password: PASSWORD });
    expect(old.status).toBe(403);
  });

  it('is gone with all that was in it when she leaves', async () => {
    const leaver = await server.join('Hjordis');
    const photo = (await (
      await leaver.upload('/photos', 'photo', await makePicture({ seed: 9 }))
    ).json()) as Photo;
    await leaver.send('POST', '/pieces', { name: 'Cot blanket' });
    await leaver.send('POST', '/measurements', { photoId: photo.id });
    expect(await codeOf(await leaver.send('DELETE', '/account', { password: 'not it' }))).toBe(
      'wrong-password',
    );
    const { db } = server.services.database;
    const { blob_key } = await db
      .selectFrom('photos')
      .select('blob_key')
      .where('id', '=', photo.id)
      .executeTakeFirstOrThrow();
    expect((await leaver.send('DELETE', '/account', { password: PASSWORD })).status).toBe(204);
    expect((await leaver.send('GET', '/pieces')).status).toBe(401);
    expect(await server.services.photos.get(blob_key)).toBeNull();
    const { rows } = await sql<{ n: number }>`
      select (select count(*) from photos where id = ${photo.id})::int
        + (select count(*) from measurements where photo_id = ${photo.id})::int
        + (select count(*) from pieces where name = 'Cot blanket')::int
        + (select count(*) from accounts where username = 'hjordis')::int as n`.execute(db);
    expect(rows).toEqual([{ n: 0 }]);
  });
});

describe('what is kept', () => {
  it('of a password is a salted scrypt hash, and of addresses nothing', async () => {
    await server.join('Liv', 'a password to look for');
    const { db } = server.services.database;
    const { rows } = await sql<{ password: string; ip: string; agent: string }>`
      select password, coalesce(ip_address, '') as ip, coalesce(user_agent, '') as agent from credentials
      join accounts on accounts.id = credentials.account_id
      join sessions on sessions.account_id = accounts.id where username = 'liv'`.execute(db);
    expect(rows[0]!.password).toMatch(/^[0-9a-f]{32}:[0-9a-f]{128}$/); // 16 bytes of salt, 64 of hash
    expect(rows[0]!.ip).toBe('');
    expect(rows[0]!.agent).toBe('');
  });

  it('of a session in the database opens nothing without the secret that is not in there', async () => {
    const maker = await server.join('Eir');
    const { db } = server.services.database;
    const { rows } = await sql<{ token: string }>`
      select token from sessions join accounts on accounts.id = sessions.account_id
      where username = 'eir'`.execute(db);
    const [name] = maker.cookie.split('=');
    const forged = server.someone(`${name}=${rows[0]!.token}.${'A'.repeat(43)}%3D`);
    expect((await forged.send('GET', '/pieces')).status).toBe(401);
    expect((await server.someone(`${name}=${rows[0]!.token}`).send('GET', '/pieces')).status).toBe(401);
    const secret = join(server.dataFolder, 'sign-in-secret');
    expect((await stat(secret)).mode & 0o077).toBe(0);
    expect(await readFile(secret, 'utf8')).toMatch(/^[\w-]{43}$/);
    expect((await readdir(server.dataFolder)).filter((file) => file.startsWith('.sign-in'))).toEqual([]);
  });
});

describe('a stranger', () => {
  it('is whoever is not signed in, the server’s own computer included', async () => {
    expect((await fetch(`${server.api}/pieces`)).status).toBe(401);
    const session = (await (await fetch(`${server.api}/session`)).json()) as Session;
    expect(session).toMatchObject({ mode: 'hosted', isHost: false, account: null });
  });

  it('may not read the metrics through the proxy; the computer itself may', async () => {
    const metrics = server.api.replace('/api/v1', '/metrics');
    expect((await fetch(metrics, { headers: { 'x-forwarded-for': '203.0.113.9' } })).status).toBe(401);
    expect((await fetch(metrics)).status).toBe(200);
  });

  it('guessing passwords is slowed down, for that name and address only', async () => {
    await server.join('Ingrid');
    const guess = (address: string): Promise<Response> =>
      server
        .someone()
        .send('POST', '/sign-in', { name: 'Ingrid', password: 'guess' }, { 'x-forwarded-for': address });
    const statuses: number[] = [];
    for (let i = 0; i < 12; i++) {
      const answer = await guess('203.0.113.5');
      statuses.push(answer.status);
      if (answer.status === 429) expect(Number(answer.headers.get('retry-after'))).toBeGreaterThan(0);
    }
    expect(statuses).toEqual([...Array<number>(10).fill(403), 429, 429]);
    expect((await guess('203.0.113.6')).status).toBe(403);
    const { rows } = await sql<{ n: number }>`select count(*)::int as n from attempts`.execute(
      server.services.database.db,
    );
    expect(rows[0]!.n).toBeGreaterThan(0); // in the database: every server counts together
  });

  it('sending rubbish is told so, and never breaks the door', async () => {
    const text = fc.oneof(fc.string(), fc.string({ unit: 'binary' }), fc.constant('x'.repeat(100_000)));
    const anything = fc.oneof(text, fc.jsonValue(), fc.constant(null));
    const body = fc.oneof(
      fc.record({ name: anything, password: anything }),
      fc.record({ name: anything, password: anything, newPassword: anything, invitation: anything }),
      fc.jsonValue(),
    );
    const door = fc.constantFrom(
      ['POST', '/sign-in'],
      ['POST', '/account'],
      ['PATCH', '/account'],
      ['DELETE', '/account'],
    );
    let from = 0;
    await fc.assert(
      fc.asyncProperty(door, body, anything, async ([method, path], sent, cookie) => {
        const headers = {
          'x-forwarded-for': `192.0.2.${++from % 250}`,
          cookie: `__Secure-swatch_gauge.session_token=${encodeURIComponent(String(cookie)).slice(0, 4000)}`,
        };
        const answer = await server.someone().send(method!, path!, sent, headers);
        await answer.arrayBuffer();
        expect(answer.status).toBeLessThan(500);
      }),
      { seed: 8, numRuns: Math.max(120, Number(process.env.SWATCH_GAUGE_FUZZ ?? 0) / 20) },
    );
  });

  it('cannot make accounts without end', async () => {
    const statuses = new Set<number>();
    for (let i = 0; i < 32; i++) {
      const entry = { name: `Crowd${i}`, password: 'short' };
      const from = { 'x-forwarded-for': '203.0.113.77' };
      statuses.add((await server.someone().send('POST', '/account', entry, from)).status);
    }
    expect([...statuses]).toEqual([422, 429]);
  });

  it('whose page is another site’s cannot make use of a maker’s cookie', async () => {
    const maker = await server.join('Yrsa');
    const ask = (headers: Record<string, string>): Promise<Response> =>
      maker.send('POST', '/pieces', { name: 'Planted' }, headers);
    expect((await ask({ origin: 'https://evil.example' })).status).toBe(403);
    expect((await ask({ 'sec-fetch-site': 'same-site' })).status).toBe(403);
    expect((await ask({ 'x-swatch-gauge': '' })).status).toBe(403);
    expect((await ask({ origin: HOSTED_AT, 'sec-fetch-site': 'same-origin' })).status).toBe(201);
  });
});

describe('a maker’s share', () => {
  it('of the space is not exceeded by photos nor by pieces, and what is deleted counts no more', () =>
    withSettings({ accountQuotaBytes: 30_000 }, async () => {
      const maker = await server.join('Signe');
      const picture = await makePicture(); // about 9 kB
      const photos: Photo[] = [];
      let last: Response;
      for (;;) {
        last = await maker.upload('/photos', 'photo', picture);
        if (last.status !== 201) break;
        photos.push((await last.json()) as Photo);
      }
      expect(last.status).toBe(507);
      expect(await codeOf(last)).toBe('account-full');
      expect(photos.length * picture.length).toBeLessThanOrEqual(30_000);
      const note = 'knit '.repeat(1900);
      const piece = { name: 'Long', note, view: { more: note.repeat(3) } };
      expect(await codeOf(await maker.send('POST', '/pieces', piece))).toBe('account-full');
      const other = await server.join('Dagny'); // has a share of her own
      expect((await other.upload('/photos', 'photo', picture)).status).toBe(201);
      for (const { id } of photos) await maker.send('DELETE', `/photos/${id}`);
      expect((await maker.upload('/photos', 'photo', picture)).status).toBe(201);
    }));

  it('of the queue lets others be measured meanwhile', () =>
    withSettings({ accountQueue: 2 }, async () => {
      const [hers, others] = [await server.join('Solveig'), await server.join('Ragna')];
      const measure = async (maker: typeof hers): Promise<Response> => {
        const photo = (await (await maker.upload('/photos', 'photo', await makePicture())).json()) as Photo;
        return await maker.send('POST', '/measurements', { photoId: photo.id });
      };
      const statuses = [];
      for (let i = 0; i < 3; i++) statuses.push((await measure(hers)).status);
      expect(statuses).toEqual([202, 202, 429]);
      expect((await measure(others)).status).toBe(202);
    }));
});

describe('the settings', () => {
  it('can ask newcomers for an invitation', () =>
    withSettings({ invitation: 'blue heather' }, async () => {
      const ask = (invitation?: string): Promise<Response> =>
        server.someone().send('POST', '/account', {
          name: 'Vigdis',
          password: PASSWORD,
          ...(invitation === undefined ? {} : { invitation }),
        });
      expect(await codeOf(await ask())).toBe('wrong-invitation');
      expect(await codeOf(await ask('green heather'))).toBe('wrong-invitation');
      const session = (await (await server.someone().send('GET', '/session')).json()) as Session;
      expect(session.invitationNeeded).toBe(true);
      expect((await ask('blue heather')).status).toBe(201);
    }));

  it('come from the environment', () => {
    const config = readConfig({
      SWATCH_GAUGE_HOSTED: 'https://gauge.example/',
      SWATCH_GAUGE_INVITATION: 'blue heather',
      SWATCH_GAUGE_ACCOUNT_MEGABYTES: '20',
      SWATCH_GAUGE_ACCOUNT_QUEUE: '3',
    });
    expect(config).toMatchObject({
      hostedAt: 'https://gauge.example',
      invitation: 'blue heather',
      accountQuotaBytes: 20e6,
      accountQueue: 3,
    } satisfies Partial<Config>);
    expect(() => readConfig({ SWATCH_GAUGE_SECRET: 'too short' })).toThrow(/SECRET/);
  });

  it('let passwords over an open line on this very computer only', () => {
    expect(() => readConfig({ SWATCH_GAUGE_HOSTED: 'http://gauge.example' })).toThrow(/https/);
    expect(readConfig({ SWATCH_GAUGE_HOSTED: 'http://localhost:4173' }).hostedAt).toBe(
      'http://localhost:4173',
    );
    expect(() => readConfig({ SWATCH_GAUGE_HOSTED: 'https://example.org/gauge' })).toThrow(/path/);
  });

  it.each(['0.0.0.0', '::', '192.0.2.1'])(
    'do not open %s to others without sign-in or pairing',
    async (host) => {
      await expect(startTestServer({ takesJobs: false, config: { host } })).rejects.toThrow(/--share/);
    },
  );
});

describe('on a computer of her own', () => {
  it('nobody needs an account; what was made there goes to a hosted one as files', async () => {
    const local = await startTestServer({ takesJobs: false });
    const answer = await local.send('POST', '/account', { name: 'Nanna', password: PASSWORD });
    expect([answer.status, await codeOf(answer)]).toEqual([404, 'no-accounts']);
    const piece = (await (await local.send('POST', '/pieces', { name: 'Before' })).json()) as Piece;
    const zip = new Uint8Array(await (await local.send('GET', `/pieces/${piece.id}/export`)).arrayBuffer());
    await local.stop();
    const maker = await server.join('Alva');
    expect((await maker.upload('/pieces/import', 'piece', zip)).status).toBe(201);
    const pieces = (await (await maker.send('GET', '/pieces')).json()) as PieceSummary[];
    expect(pieces.map(({ name }) => name)).toEqual(['Before']);
  });
});

describe('all this', () => {
  it('called nobody: no address was looked up or connected to but this computer’s own', async () => {
    const lines = (await readFile(join(notes, 'connections'), 'utf8')).trim().split('\n');
    expect(lines.length).toBeGreaterThan(0); // these tests themselves asked the server
    const outward = lines.filter((line) => !/^(connect|lookup) (127\.0\.0\.1|localhost)$/.test(line));
    // The claim on a data folder is a local socket.
    expect(outward.filter((line) => !/^connect \/.*\.sock$/.test(line))).toEqual([]);
  });
});
