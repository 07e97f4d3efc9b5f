import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { sql } from 'kysely';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { migrateToLatest } from '../../server/storage/migrateToLatest.ts';
import { MIGRATIONS } from '../../server/storage/migrations.ts';
import { openDatabase } from '../../server/storage/openDatabase.ts';
import { openFolderStore } from '../../server/storage/photoStore.ts';
import { StorageError } from '../../server/storage/storageError.ts';
import { writeFileAtomically, writeNewFile } from '../../server/writeFileAtomically.ts';
import { findPostgres, startPostgres, type TestPostgres } from './postgres.ts';
import { startHostedServer, type HostedServer } from './hosted.ts';
import { makeDataFolder, makeFolder, startTestServer } from './support.ts';

let folder: string;
beforeEach(async () => {
  folder = await makeFolder();
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

const binaries = findPostgres();

describe.each([['embedded'], ...(binaries ? [['postgresql']] : [])])('the schema on %s', (kind) => {
  let postgres: TestPostgres | null = null;
  const open = async () => {
    folder = kind === 'embedded' && !existsSync(join(folder, 'database')) ? await makeDataFolder() : folder;
    postgres ??= kind === 'postgresql' ? await startPostgres(binaries!) : null;
    return await openDatabase({ dataFolder: folder, databaseUrl: postgres?.url ?? null });
  };
  afterEach(async () => {
    await postgres?.stop();
    postgres = null;
  });

  it('is brought up to date once, and whole: a migration that fails leaves nothing of itself', async () => {
    const database = await open();
    const broken = {
      ...MIGRATIONS,
      '9998-fine': { up: async (db: never) => void (await sql`create table half (id integer)`.execute(db)) },
      '9999-broken': { up: async (db: never) => void (await sql`create nonsense`.execute(db)) },
    };
    await expect(migrateToLatest(database.db, broken)).rejects.toThrow();
    const { rows } = await sql<{ half: string | null }>`select to_regclass('half')::text as half`.execute(
      database.db,
    );
    expect(rows).toEqual([{ half: null }]);
    await migrateToLatest(database.db);
    await database.close();
  });

  it('of a newer version is left alone, politely', async () => {
    const database = await open();
    await sql`insert into kysely_migration (name, timestamp) values ('2099-later', '2099')`.execute(
      database.db,
    );
    await database.close();
    await expect(open()).rejects.toThrow(/newer version of the program/);
    await expect(open()).rejects.toMatchObject({ code: 'data-newer' } satisfies Partial<StorageError>);
  });

  it('gives back what was put, the same way on both databases', async () => {
    const { db, close } = await open();
    const id = crypto.randomUUID();
    const document = { list: [1, 'two', null], text: 'naïve “quotes” \\ \' "', deep: { a: [{}] } };
    await sql`
      insert into pieces (id, owner_id, name, document)
      values (${id}, ${id}, 'x', ${JSON.stringify(document)}::jsonb)`.execute(db);
    const row = await db.selectFrom('pieces').selectAll().where('id', '=', id).executeTakeFirstOrThrow();
    expect(row).toMatchObject({
      id,
      document,
      revision: 1,
      deleted_at: null,
      created_at: expect.any(Date) as Date,
    });
    await close();
  });
});

describe.runIf(binaries)('a PostgreSQL that is away', () => {
  it.each([
    ['on a computer of her own', startTestServer],
    ['with accounts', startHostedServer],
  ])('is said, with a time to come back, and nothing else is wrong afterwards, %s', async (_where, begin) => {
    const postgres = await startPostgres(binaries!);
    const environment = { DATABASE_URL: await postgres.createDatabase('makers') };
    const server = await begin({ environment, takesJobs: false });
    const maker = 'join' in server ? await (server as HostedServer).join('Hild') : server;
    expect((await maker.send('POST', '/pieces', { name: 'Before' })).status).toBe(201);
    await postgres.kill();
    const asked = ['/pieces', '/pieces', '/session'].map((path) => maker.send('GET', path));
    const changed = [1, 2, 3].map(() => maker.send('POST', '/pieces', { name: 'Meanwhile' }));
    const answers = await Promise.all([...asked, ...changed]);
    for (const answer of answers.filter(({ url }) => !url.endsWith('/session'))) {
      expect(answer.status).toBe(503);
      expect(answer.headers.get('retry-after')).toBeTruthy();
      expect(await answer.json()).toMatchObject({ code: 'database-away' });
    }
    await postgres.restart();
    const look = async (): Promise<number> => (await maker.send('GET', '/pieces')).status;
    await expect.poll(look, { timeout: 20_000 }).toBe(200);
    expect(await (await maker.send('GET', '/pieces')).json()).toHaveLength(1);
    await server.stop();
    await postgres.stop();
  });
});

describe('the data folder', () => {
  it('serves one process at a time', async () => {
    folder = await makeDataFolder();
    const database = await openDatabase({ dataFolder: folder, databaseUrl: null });
    await expect(openDatabase({ dataFolder: folder, databaseUrl: null })).rejects.toMatchObject({
      code: 'data-in-use',
    });
    await database.close();
    await (await openDatabase({ dataFolder: folder, databaseUrl: null })).close();
  });

  it('whose first database was cut short is made anew', async () => {
    await mkdir(join(folder, '.database-cut-short'));
    await writeFile(join(folder, '.database-cut-short', 'PG_VERSION'), '1');
    const database = await openDatabase({ dataFolder: folder, databaseUrl: null });
    await database.close();
    expect(await readdir(folder)).toEqual(['database']);
  });

  it.runIf(process.platform === 'linux')('that cannot be written is named as such', async () => {
    const opening = openDatabase({ dataFolder: '/sys/swatch-gauge', databaseUrl: null });
    await expect(opening).rejects.toMatchObject({ code: 'data-folder-read-only' });
  });
});

/** A file system of one megabyte, where the test may mount one. */
const mountSmall = (path: string): boolean =>
  process.platform === 'linux' &&
  spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=1m', 'tmpfs', path]).status === 0;

describe('a full disk', () => {
  it('is named as such, and nothing half-written stays', async ({ skip }) => {
    if (!mountSmall(folder)) skip('needs the right to mount a small file system');
    try {
      const store = openFolderStore(folder);
      const small = await store.put(new Uint8Array(1000));
      await expect(store.put(new Uint8Array(2_000_000))).rejects.toMatchObject({ code: 'disk-full' });
      const kept: string[] = [];
      for await (const { key } of store.list()) kept.push(key);
      expect(kept).toEqual([small]);
      const files = (await readdir(folder, { recursive: true, withFileTypes: true })).filter((e) =>
        e.isFile(),
      );
      expect(files).toHaveLength(1);
    } finally {
      spawnSync('umount', [folder]);
    }
  });
});

describe('a picture that another process makes', () => {
  const files = async (): Promise<string[]> =>
    (await readdir(folder, { recursive: true, withFileTypes: true }))
      .filter((entry) => entry.isFile())
      .map(({ name }) => name);

  it('is kept once it is whole, under its own name', async () => {
    const store = openFolderStore(folder);
    const picture = Buffer.from('a picture');
    let during: string[] = [];
    const { key, bytes } = await store.putMade(async (path) => {
      await writeNewFile(path!, picture);
      during = await files();
      return picture.length;
    });
    expect(during).toEqual([expect.stringMatching(/^\..*\.part$/)]);
    expect(bytes).toBe(picture.length);
    expect(Buffer.from((await store.get(key))!)).toEqual(picture);
    expect(await files()).toEqual([key]);
  });

  it('leaves nothing when it could not be made, however far it had come', async () => {
    const store = openFolderStore(folder);
    const died = new Error('the measuring process died');
    for (const begins of [false, true]) {
      const made = store.putMade(async (path) => {
        if (begins) await writeFile(path!, 'half a pic');
        throw died;
      });
      await expect(made).rejects.toBe(died);
    }
    expect(await files()).toEqual([]);
  });
});

describe('writing a file', () => {
  it('leaves the old content when it fails', async () => {
    const path = join(folder, 'kept.txt');
    await writeFileAtomically(path, 'old');
    await expect(writeFileAtomically(join(path, 'below-a-file'), 'new')).rejects.toThrow();
    await expect(writeFileAtomically(path, null as never)).rejects.toThrow();
    expect(await readdir(folder)).toEqual(['kept.txt']);
  });
});

describe('the photo folder', () => {
  it('takes no path for a key', async () => {
    const store = openFolderStore(folder);
    await expect(store.get('../../etc/passwd')).rejects.toThrow(/not a photo key/);
    expect(await store.get(crypto.randomUUID())).toBeNull();
  });
});
