/** A maker forgot her password, and whoever runs the server gives her another. */
import { spawn, spawnSync } from 'node:child_process';
import { rm } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Session } from '../../server/api/schemas.ts';
import { cookieIn, PASSWORD, startHostedServer, type HostedServer } from './hosted.ts';
import { findPostgres, startPostgres, type TestPostgres } from './postgres.ts';
import { makeDataFolder } from './support.ts';

const BIN = fileURLToPath(new URL('../../server/bin.mjs', import.meta.url));
const binaries = findPostgres();

describe.each([
  ['the embedded database, the server stopped', 'embedded'],
  ...(binaries ? [['PostgreSQL, the server running', 'postgresql']] : []),
])('a one-time password, on %s', (_name, kind) => {
  let postgres: TestPostgres | null = null;
  let dataFolder: string;
  let environment: NodeJS.ProcessEnv;
  let server: HostedServer;
  beforeAll(async () => {
    dataFolder = await makeDataFolder();
    if (kind === 'postgresql') postgres = await startPostgres(binaries!);
    environment = postgres ? { DATABASE_URL: await postgres.createDatabase('makers') } : {};
    server = await startHostedServer({ dataFolder, environment });
  });
  afterAll(async () => {
    await server.stop();
    await postgres?.stop();
    await rm(dataFolder, { recursive: true, force: true });
  });

  const command = (...args: string[]) =>
    new Promise<{ code: number | null; out: string; err: string }>((resolve) => {
      const child = spawn(process.execPath, [BIN, 'reset-password', ...args], {
        env: { ...process.env, SWATCH_GAUGE_DATA: dataFolder, ...environment },
      });
      let [out, err] = ['', ''];
      child.stdout.on('data', (chunk: Buffer) => (out += String(chunk)));
      child.stderr.on('data', (chunk: Buffer) => (err += String(chunk)));
      child.once('close', (code) => resolve({ code, out, err }));
    });
  /** Runs the command as the operator must: the embedded database serves one process at a time. */
  const reset = async (name: string): Promise<string> => {
    if (kind === 'embedded') await server.stop();
    const { code, out, err } = await command(name);
    if (kind === 'embedded') server = await startHostedServer({ dataFolder, environment });
    expect({ code, err }).toEqual({ code: 0, err: '' });
    return /: ([\w-]{19})\n/.exec(out)![1]!;
  };
  const signIn = (name: string, password: string): Promise<Response> =>
    server.someone().send('POST', '/sign-in', { name, password });
  const sessionOf = async (cookie: string): Promise<Session> =>
    (await (await server.someone(cookie).send('GET', '/session')).json()) as Session;

  it('opens the account once, ends every session, and is told until she has chosen her own', async () => {
    const before = await server.join('Tordis');
    const piece = await before.send('POST', '/pieces', { name: 'Hers' });
    expect(piece.status).toBe(201);
    const given = await reset(' TORDIS ');
    expect((await server.someone(before.cookie).send('GET', '/pieces')).status).toBe(401);
    expect((await signIn('Tordis', PASSWORD)).status).toBe(403);

    // Two at once with the same: one is let in, the other one leaves no session behind.
    const both = await Promise.all([signIn('Tordis', given), signIn('Tordis', given)]);
    expect(both.map(({ status }) => status).toSorted()).toEqual([200, 403]);
    expect((await signIn('Tordis', given)).status).toBe(403);
    const { count } = await server.services.database.db
      .selectFrom('sessions')
      .innerJoin('accounts', 'accounts.id', 'sessions.account_id')
      .select(({ fn }) => fn.countAll<string>().as('count'))
      .where('username', '=', 'tordis')
      .executeTakeFirstOrThrow();
    expect(Number(count)).toBe(1);

    const cookie = cookieIn(both.find(({ status }) => status === 200)!);
    expect((await sessionOf(cookie)).account).toEqual({ name: 'tordis', passwordIsOneTime: true });
    expect(await (await server.someone(cookie).send('GET', '/pieces')).json()).toHaveLength(1);
    const own = { password: given, newPassword: 'nine brown geese' };
    const changed = await server.someone(cookie).send('PATCH', '/account', own);
    expect(changed.status).toBe(204);
    expect((await sessionOf(cookieIn(changed))).account).toEqual({ name: 'tordis' });
    for (const again of [1, 2]) {
      expect([again, (await signIn('Tordis', own.newPassword)).status]).toEqual([again, 200]);
    }
  });

  it('is no good after a day', async () => {
    await server.join('Gyda');
    const given = await reset('Gyda');
    await server.services.database.db
      .updateTable('credentials')
      .set({ one_time_until: new Date(Date.now() - 1000) })
      .where('one_time_hash', 'is not', null)
      .execute();
    expect((await signIn('Gyda', given)).status).toBe(403);
  });

  it.each([
    ['for a name that is not there', ['Nobody'], 'There is no account named Nobody here.'],
    ['without a name', [], 'usage'],
  ])('is not given %s', async (_what, args, says) => {
    if (kind === 'embedded') await server.stop();
    const { code, out, err } = await command(...args);
    if (kind === 'embedded') server = await startHostedServer({ dataFolder, environment });
    expect({ code, out }).toEqual({ code: 2, out: '' });
    expect(err).toContain(says);
    expect(err.trim().split('\n')).toHaveLength(1);
  });

  it.runIf(kind === 'embedded')('is not given while the server uses the data, which is said', async () => {
    const { code, err } = await command('Tordis');
    expect(code).toBe(2);
    expect(err).toContain('Another copy of this program is using the data folder.');
  });
});

it('the command is one of the npm scripts too', () => {
  const { status, stderr } = spawnSync('npm', ['run', '--silent', 'reset-password'], { encoding: 'utf8' });
  expect(status).toBe(2);
  expect(stderr).toMatch(/^usage: reset-password NAME/);
});
