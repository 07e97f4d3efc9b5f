import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readdir, rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { Kysely, PostgresDialect } from 'kysely';
import { writeFileAtomically } from '../writeFileAtomically.ts';
import { claimFolder } from './claimFolder.ts';
import { migrateToLatest } from './migrateToLatest.ts';
import { PgliteDialect } from './pgliteDialect.ts';
import { asStorageError } from './storageError.ts';
import type { Tables } from './tables.ts';
import { Turnstile } from './turnstile.ts';

/** The database in use, whichever it is; the SQL is the same. */
export interface Database {
  kind: 'embedded' | 'postgresql';
  db: Kysely<Tables>;
  /** Runs raw SQL for the job queue; several statements are allowed when there are no values. */
  executeSql(text: string, values?: unknown[]): Promise<{ rows: unknown[] }>;
  /** Runs `work` while no other process runs something under the same name. */
  alone<T>(name: string, work: () => Promise<T>): Promise<T>;
  /** Calls back for each message sent with `pg_notify(channel, …)` by any process. */
  listen(channel: string, onMessage: (payload: string) => void): Promise<void>;
  close(): Promise<void>;
}

/**
 * Opens the embedded database in `dataFolder`, or the PostgreSQL server at `databaseUrl`, and brings its
 * schema up to date.
 *
 * @throws StorageError when the folder is read-only, in use, its disk full, or its schema newer than we know
 */
export async function openDatabase(config: {
  dataFolder: string;
  databaseUrl: string | null;
}): Promise<Database> {
  const database = config.databaseUrl
    ? await openPostgresql(config.databaseUrl)
    : await openEmbedded(config.dataFolder);
  try {
    await migrateToLatest(database.db);
    return database;
  } catch (error) {
    await database.close();
    throw asStorageError(error);
  }
}

async function openEmbedded(dataFolder: string): Promise<Database> {
  let release: () => Promise<void>;
  try {
    await mkdir(dataFolder, { recursive: true, mode: 0o700 });
    // Asked before the database is: it would fail on a read-only or full disk with a riddle.
    const probe = join(dataFolder, 'probe');
    await writeFileAtomically(probe, 'can be written');
    await rm(probe);
    release = await claimFolder(dataFolder);
  } catch (error) {
    throw asStorageError(error);
  }
  try {
    const { PGlite } = await import('@electric-sql/pglite');
    const folder = join(dataFolder, 'database');
    await removeUnfinished(dataFolder);
    if (!existsSync(folder)) {
      // Made under another name, so that a crash while the first files are laid leaves no broken database.
      const unfinished = join(dataFolder, `.database-${randomUUID()}`);
      await layDatabase(unfinished);
      await rename(unfinished, folder);
    }
    const pglite = await PGlite.create({ dataDir: folder });
    const turnstile = new Turnstile();
    let closed = false;
    const inTurn = async <T>(work: () => Promise<T>): Promise<T> => {
      const leave = await turnstile.enter();
      try {
        return await work();
      } finally {
        leave();
      }
    };
    return {
      kind: 'embedded',
      db: new Kysely<Tables>({ dialect: new PgliteDialect(pglite, turnstile) }),
      executeSql: (text, values) =>
        inTurn(async () => {
          if (closed) throw new Error('the database is closed'); // to the queue's last words after it was stopped
          if (values?.length) return await pglite.query<unknown>(text, values);
          const results = await pglite.exec(text);
          return { rows: (results.at(-1)?.rows ?? []) as unknown[] };
        }),
      alone: (_name, work) => work(), // there is no other process
      listen: (channel, onMessage) =>
        inTurn(async () => {
          await pglite.listen(channel, onMessage);
        }),
      async close() {
        await inTurn(async () => {
          closed = true;
          await pglite.close();
        });
        await release();
      },
    };
  } catch (error) {
    await release();
    throw asStorageError(error);
  }
}

function layDatabase(folder: string): Promise<void> {
  return new Promise((resolve, reject) => {
    const thread = new Worker(new URL('./layDatabase.mjs', import.meta.url), {
      workerData: { folder },
      execArgv: [],
    });
    thread.once('error', reject);
    thread.once('exit', (code) => (code === 0 ? resolve() : reject(new Error(`laying a database: ${code}`))));
  });
}

async function removeUnfinished(dataFolder: string): Promise<void> {
  for (const name of await readdir(dataFolder)) {
    if (name.startsWith('.database-')) await rm(join(dataFolder, name), { recursive: true, force: true });
  }
}

async function openPostgresql(url: string): Promise<Database> {
  const { default: pg } = await import('pg');
  const pool = new pg.Pool({ connectionString: url, max: 10, connectionTimeoutMillis: 10_000 });
  pool.on('error', () => {
    // An idle connection was cut (server restart); the pool opens a new one when it needs it.
  });
  // One in use is cut as well: its query fails, which is enough; without a listener the process would end.
  pool.on('connect', (client) => client.on('error', () => {}));
  const listeners: { channel: string; onMessage: (payload: string) => void }[] = [];
  let listener: import('pg').Client | null = null;
  let closed = false;

  /** Keeps one connection listening, also after the server was restarted. */
  const connectListener = async (): Promise<void> => {
    const client = new pg.Client({ connectionString: url });
    client.on('error', () => client.end().catch(() => {}));
    client.on('end', () => {
      if (!closed) setTimeout(() => connectListener().catch(() => {}), 1000).unref();
    });
    client.on('notification', ({ channel, payload }) => {
      for (const one of listeners) if (one.channel === channel) one.onMessage(payload ?? '');
    });
    await client.connect();
    for (const { channel } of listeners) await client.query(`listen "${channel}"`);
    listener = client;
  };

  return {
    kind: 'postgresql',
    db: new Kysely<Tables>({ dialect: new PostgresDialect({ pool }) }),
    executeSql: async (text, values) => (await pool.query(text, values)) as { rows: unknown[] },
    async alone(name, work) {
      const client = await pool.connect();
      try {
        await client.query('select pg_advisory_lock(hashtext($1))', [name]);
        return await work();
      } finally {
        await client.query('select pg_advisory_unlock(hashtext($1))', [name]);
        client.release();
      }
    },
    async listen(channel, onMessage) {
      listeners.push({ channel, onMessage });
      if (!listener) await connectListener();
      else await listener.query(`listen "${channel}"`);
    },
    async close() {
      closed = true;
      await listener?.end();
      await pool.end();
    },
  };
}
