import { spawn, spawnSync, type ChildProcess } from 'node:child_process';
import { chownSync, existsSync, mkdirSync, readdirSync } from 'node:fs';
import { rm } from 'node:fs/promises';
import { createServer, type AddressInfo } from 'node:net';
import { delimiter, join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import pg from 'pg';
import { makeFolder } from './support.ts';

/** Folder of `initdb` and `postgres`, or null where none is installed (Debian: package `postgresql`). */
export function findPostgres(): string | null {
  const debian = '/usr/lib/postgresql';
  const folders = [
    ...(existsSync(debian)
      ? readdirSync(debian)
          .toSorted()
          .toReversed()
          .map((v) => join(debian, v, 'bin'))
      : []),
    ...(process.env.PATH ?? '').split(delimiter),
  ];
  const found = folders.find(
    (folder) => existsSync(join(folder, 'initdb')) && existsSync(join(folder, 'postgres')),
  );
  if (!found)
    console.log(
      'No PostgreSQL server is installed here: its tests are skipped (Debian: apt install postgresql).',
    );
  return found ?? null;
}

export interface TestPostgres {
  url: string;
  /** Makes an empty database and gives its address. */
  createDatabase(name: string): Promise<string>;
  /** Kills (SIGKILL) one of the processes that serve connections; PostgreSQL then starts all of them anew. */
  killBackend(database: string): Promise<void>;
  /** Kills the server, first process and all: left alone, those it started would answer until they notice. */
  kill(): Promise<void>;
  /** Starts it again after it was killed, and waits until it answers. */
  restart(): Promise<void>;
  stop(): Promise<void>;
}

/** A PostgreSQL server of the test's own, in a folder of its own. */
export async function startPostgres(binaries: string): Promise<TestPostgres> {
  const folder = await makeFolder();
  const data = join(folder, 'data');
  mkdirSync(data, { mode: 0o700 });
  // PostgreSQL refuses to run as root, as which containers run tests.
  const isRoot = process.getuid?.() === 0;
  const user = isRoot ? { uid: idOf('-u'), gid: idOf('-g') } : {};
  if (user.uid !== undefined) for (const path of [folder, data]) chownSync(path, user.uid, user.gid!);

  const made = spawnSync(
    join(binaries, 'initdb'),
    ['-D', data, '-U', 'maker', '-A', 'trust', '--no-sync', '-E', 'UTF8'],
    {
      ...user,
      cwd: folder,
      encoding: 'utf8',
    },
  );
  if (made.status !== 0) throw new Error(`initdb: ${made.stderr}${made.error?.message ?? ''}`);
  const port = await freePort();
  const settings = ['listen_addresses=127.0.0.1', `unix_socket_directories=${folder}`];
  const urlOf = (name: string): string => `postgres://maker@127.0.0.1:${port}/${name}`;
  const query = async <Row extends object>(text: string): Promise<Row[]> => {
    const client = new pg.Client({ connectionString: urlOf('postgres') });
    client.on('error', () => {}); // its own process may be killed too
    await client.connect();
    try {
      return (await client.query<Row>(text)).rows;
    } finally {
      await client.end();
    }
  };
  let server: ChildProcess;
  let ended: Promise<unknown>;
  const begin = async (): Promise<void> => {
    for (let attempt = 0; ; attempt++) {
      if (attempt === 0 || server.exitCode !== null || server.signalCode !== null) {
        // Again, because the remains of one that was killed hold its memory for a moment.
        server = spawn(
          join(binaries, 'postgres'),
          ['-D', data, '-p', String(port), ...settings.flatMap((setting) => ['-c', setting])],
          { ...user, cwd: folder, stdio: 'ignore' },
        );
        ended = new Promise((resolve) => server.once('exit', resolve));
      }
      try {
        await query('select 1');
        break;
      } catch (error) {
        if (attempt > 300) throw error; // it recovers from a kill, on a busy machine
        await sleep(100);
      }
    }
  };
  await begin();
  return {
    url: urlOf('postgres'),
    async createDatabase(name) {
      await query(`create database ${name}`);
      return urlOf(name);
    },
    async killBackend(database) {
      const [backend] = await query<{ pid: number }>(
        `select pid from pg_stat_activity where datname = '${database}' order by random() limit 1`,
      );
      if (backend) kill(backend.pid);
    },
    async kill() {
      const started = await query<{ pid: number }>(
        'select pid from pg_stat_activity where pid <> pg_backend_pid()',
      );
      server.kill('SIGKILL');
      for (const { pid } of started) kill(pid);
      await ended;
    },
    restart: begin,
    async stop() {
      server.kill('SIGINT');
      await ended;
      await rm(folder, { recursive: true, force: true });
    },
  };
}

/** One that has ended meanwhile is as good as killed. */
function kill(pid: number): void {
  try {
    process.kill(pid, 'SIGKILL');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'ESRCH') throw error;
  }
}

function idOf(flag: '-u' | '-g'): number {
  return Number(spawnSync('id', [flag, 'nobody'], { encoding: 'utf8' }).stdout.trim());
}

export function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address() as AddressInfo;
      server.close(() => resolve(port));
    });
  });
}
