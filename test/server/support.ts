import { PGlite } from '@electric-sql/pglite';
import { existsSync } from 'node:fs';
import { cp, mkdtemp, rename, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import sharp from 'sharp';
import packageJson from '../../package.json' with { type: 'json' };
import { readConfig, type Config } from '../../server/config.ts';
import { startServer, type RunningServer } from '../../server/startServer.ts';
import type { MeasurementJob, Photo } from '../../server/api/schemas.ts';

/** The header that the page sends with every change. */
export const OWN = { 'X-Swatch-Gauge': '1' };

/** Asks a server what the page asks it, the way the page does. */
export interface Client {
  /** Sends JSON (when there is a body). */
  send(method: string, path: string, body?: unknown): Promise<Response>;
  /** @param fields what else the form carries */
  upload(
    path: string,
    field: string,
    bytes: Uint8Array,
    fileName?: string,
    fields?: Record<string, string>,
  ): Promise<Response>;
  uploadPhoto(bytes: Uint8Array): Promise<Photo>;
  /** Asks for a measurement, and does not wait for it. */
  askFor(photoId: string, options?: object): Promise<MeasurementJob>;
  /** Asks for a measurement and follows it to its end. */
  measure(photoId: string, options?: object): Promise<MeasurementJob>;
}

export interface TestServer extends RunningServer, Client {
  /** Address of the API, without a slash at the end. */
  api: string;
  dataFolder: string;
}

/** A server of its own on a free port, with a data folder of its own. */
export async function startTestServer(
  options: {
    config?: Partial<Config>;
    environment?: NodeJS.ProcessEnv;
    shared?: boolean;
    takesJobs?: boolean;
    visionTaskFile?: string;
    samplesFolder?: string;
    withSamplePiece?: boolean;
    pageFolder?: string;
    dataFolder?: string;
  } = {},
): Promise<TestServer> {
  const dataFolder = options.dataFolder ?? (await makeDataFolder());
  const config: Config = {
    ...readConfig({
      SWATCH_GAUGE_DATA: dataFolder,
      PORT: '0',
      SWATCH_GAUGE_THREADS: '1',
      ...options.environment,
    }),
    ...options.config,
  };
  const running = await startServer(config, { log: pino({ level: 'silent' }), ...options });
  const api = `http://127.0.0.1:${running.port}/api/v1`;
  return {
    ...running,
    ...clientOf(api),
    api,
    dataFolder,
    async stop() {
      await running.stop();
      if (!options.dataFolder) await rm(dataFolder, { recursive: true, force: true });
    },
  };
}

/** @param api address of the API, without a slash at the end */
export function clientOf(api: string): Client {
  const send: Client['send'] = (method, path, body) =>
    fetch(api + path, {
      method,
      headers: { ...OWN, ...(body === undefined ? {} : { 'Content-Type': 'application/json' }) },
      ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    });
  const upload: Client['upload'] = (path, field, bytes, fileName = 'photo.jpg', fields = {}) => {
    const form = new FormData();
    for (const [name, value] of Object.entries(fields)) form.set(name, value);
    form.set(field, new Blob([bytes as BlobPart]), fileName);
    return fetch(api + path, { method: 'POST', headers: OWN, body: form });
  };
  const askFor: Client['askFor'] = async (photoId, options = {}) => {
    const answer = await send('POST', '/measurements', { photoId, options });
    if (answer.status !== 202) throw new Error(`measure: ${answer.status} ${await answer.text()}`);
    return (await answer.json()) as MeasurementJob;
  };
  return {
    send,
    upload,
    async uploadPhoto(bytes) {
      const answer = await upload('/photos', 'photo', bytes);
      if (answer.status !== 201) throw new Error(`upload: ${answer.status} ${await answer.text()}`);
      return (await answer.json()) as Photo;
    },
    askFor,
    async measure(photoId, options) {
      const { id } = await askFor(photoId, options);
      const events = await (await fetch(`${api}/measurements/${id}/events`)).text(); // ends when the job is over
      return JSON.parse(
        events
          .trim()
          .split('\n')
          .at(-1)!
          .replace(/^data: /, ''),
      ) as MeasurementJob;
    },
  };
}

/**
 * A data folder with an empty database in it. Laying a database's first files takes seconds, so that it is done
 * once and copied.
 */
export async function makeDataFolder(): Promise<string> {
  const version = packageJson.dependencies['@electric-sql/pglite'].replace(/\W/g, '-');
  const template = join(tmpdir(), `swatch-gauge-test-database-${version}`);
  if (!existsSync(template)) {
    const unfinished = await makeFolder();
    await (await PGlite.create({ dataDir: join(unfinished, 'database') })).close();
    // Another test's template may have come first.
    await rename(join(unfinished, 'database'), template).catch(() => {});
    await rm(unfinished, { recursive: true, force: true });
  }
  const folder = await makeFolder();
  await cp(template, join(folder, 'database'), { recursive: true });
  return folder;
}

export const makeFolder = (): Promise<string> => mkdtemp(join(tmpdir(), 'swatch-gauge-test-'));

/** A picture that is no swatch: soft blobs, the same for the same seed. Enough for everything but reading stitches. */
export async function makePicture(
  options: {
    widthPx?: number;
    heightPx?: number;
    seed?: number;
    format?: 'jpeg' | 'png' | 'webp' | 'tiff' | 'avif';
  } = {},
): Promise<Buffer> {
  const { widthPx = 320, heightPx = 240, seed = 1, format = 'jpeg' } = options;
  const pixels = Buffer.alloc(3 * widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const at = 3 * (y * widthPx + x);
      pixels[at] = 128 + 100 * Math.sin((x + 17 * seed) / 23);
      pixels[at + 1] = 128 + 100 * Math.sin((y - 5 * seed) / 31);
      pixels[at + 2] = 128 + 100 * Math.sin((x + y) / 41);
    }
  }
  return await sharp(pixels, { raw: { width: widthPx, height: heightPx, channels: 3 } })
    .toFormat(format)
    .toBuffer();
}
