import { isIP } from 'node:net';
import { availableParallelism, homedir } from 'node:os';
import { join } from 'node:path';
import { z } from 'zod';

const environmentSchema = z.object({
  PORT: z.coerce.number().int().min(0).max(65_535).optional(),
  HOST: z.string().min(1).default('127.0.0.1'),
  /** Where a process that only measures says how it is, to this computer alone. */
  SWATCH_GAUGE_WORKER_PORT: z.coerce.number().int().min(0).max(65_535).optional(),
  DATABASE_URL: z.url({ protocol: /^postgres(ql)?$/ }).optional(),
  SWATCH_GAUGE_DATA: z.string().min(1).optional(),
  /** Photos measured at once, each in a process of its own; 0 = this one only takes requests. */
  SWATCH_GAUGE_THREADS: z.coerce.number().int().min(0).max(64).optional(),
  /** Heap of one measuring process, megabytes; one that needs more is ended and replaced. */
  SWATCH_GAUGE_THREAD_MEGABYTES: z.coerce.number().int().min(64).max(16_384).default(1024),
  /** A photo that takes longer than this is given up. */
  SWATCH_GAUGE_MEASURE_SECONDS: z.coerce.number().min(1).max(600).default(30),
  /** Photos that may wait to be measured before more are turned away for a while. */
  SWATCH_GAUGE_QUEUE: z.coerce.number().int().min(1).max(100_000).default(100),
  /** What all kept photos together may take, megabytes. */
  SWATCH_GAUGE_PHOTO_MEGABYTES: z.coerce.number().positive().default(20_000),
  /** Where makers reach this server; with it, everybody needs an account of her own. */
  SWATCH_GAUGE_HOSTED: z.url({ protocol: /^https?$/ }).optional(),
  /** What newcomers must know to make an account; without it anybody may. */
  SWATCH_GAUGE_INVITATION: z.string().min(1).max(200).optional(),
  /** Signs the cookies; servers that share a database but no data folder need the same one. */
  SWATCH_GAUGE_SECRET: z.string().min(32).max(1000).optional(),
  /** What one account may keep, megabytes. */
  SWATCH_GAUGE_ACCOUNT_MEGABYTES: z.coerce.number().positive().default(500),
  /** Photos of one account that may wait to be measured at once. */
  SWATCH_GAUGE_ACCOUNT_QUEUE: z.coerce.number().int().min(1).max(1000).default(10),
  /** Bucket for photos, in place of the data folder: `https://host/bucket`. */
  SWATCH_GAUGE_S3_URL: z.url({ protocol: /^https?$/ }).optional(),
  SWATCH_GAUGE_S3_REGION: z.string().min(1).max(100).default('us-east-1'),
  SWATCH_GAUGE_S3_KEY_ID: z.string().min(1).max(200).optional(),
  SWATCH_GAUGE_S3_KEY: z.string().min(1).max(500).optional(),
  LOG_LEVEL: z.enum(['fatal', 'error', 'warn', 'info', 'debug', 'trace', 'silent']).default('info'),
});

/** How this process runs; everything that the environment can change, with its unit. */
export interface Config {
  host: string;
  /** null: 4173, or any free one when that is taken. */
  port: number | null;
  /** Of a separate worker's health and metrics, on this computer only; null: nowhere. */
  workerPort: number | null;
  /** Folder that holds the embedded database and the photos. */
  dataFolder: string;
  /** null: the embedded database in `dataFolder`. */
  databaseUrl: string | null;
  visionProcesses: number;
  processHeapMegabytes: number;
  measureTimeoutSeconds: number;
  longestQueue: number;
  photoQuotaBytes: number;
  /** Bytes of one uploaded photo, and of one piece file. */
  largestPhotoBytes: number;
  largestPieceFileBytes: number;
  largestPhotoMegapixels: number;
  /** Origin at which makers reach a hosted server, or null where nobody needs an account. */
  hostedAt: string | null;
  invitation: string | null;
  signInSecret: string | null;
  accountQuotaBytes: number;
  accountQueue: number;
  /** null: photos are kept in `dataFolder`. */
  objectStore: ObjectStoreConfig | null;
  logLevel: string;
}

/** A bucket of an S3-compatible store. */
export interface ObjectStoreConfig {
  /** With the bucket as its path. */
  url: string;
  region: string;
  keyId: string;
  key: string;
}

/** A setting that cannot be used; `message` names it. */
export class ConfigError extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'ConfigError';
  }
}

/**
 * Reads the configuration from environment variables.
 *
 * @throws ConfigError naming the variable
 * @example
 * const config = readConfig({ ...process.env, SWATCH_GAUGE_DATA: '/srv/swatch-gauge' });
 */
export function readConfig(environment: NodeJS.ProcessEnv = process.env): Config {
  const parsed = environmentSchema.safeParse(environment);
  if (!parsed.success) {
    const issue = parsed.error.issues[0]!;
    throw new ConfigError(`The setting ${issue.path.join('.')} cannot be used: ${issue.message}.`);
  }
  const env = parsed.data;
  return {
    hostedAt: hostedAddress(env.SWATCH_GAUGE_HOSTED),
    invitation: env.SWATCH_GAUGE_INVITATION ?? null,
    signInSecret: env.SWATCH_GAUGE_SECRET ?? null,
    accountQuotaBytes: env.SWATCH_GAUGE_ACCOUNT_MEGABYTES * 1e6,
    accountQueue: env.SWATCH_GAUGE_ACCOUNT_QUEUE,
    objectStore: objectStoreFrom(env),
    host: env.HOST,
    port: env.PORT ?? null,
    workerPort: env.SWATCH_GAUGE_WORKER_PORT ?? null,
    dataFolder: env.SWATCH_GAUGE_DATA ?? defaultDataFolder(environment),
    databaseUrl: env.DATABASE_URL ?? null,
    visionProcesses: env.SWATCH_GAUGE_THREADS ?? Math.min(2, availableParallelism()),
    processHeapMegabytes: env.SWATCH_GAUGE_THREAD_MEGABYTES,
    measureTimeoutSeconds: env.SWATCH_GAUGE_MEASURE_SECONDS,
    longestQueue: env.SWATCH_GAUGE_QUEUE,
    photoQuotaBytes: env.SWATCH_GAUGE_PHOTO_MEGABYTES * 1e6,
    largestPhotoBytes: 40 * 1024 * 1024,
    largestPieceFileBytes: 400 * 1024 * 1024,
    largestPhotoMegapixels: 120,
    logLevel: env.LOG_LEVEL,
  };
}

/** Passwords and cookies do not go over an open line, except to this very computer. */
function hostedAddress(url: string | undefined): string | null {
  if (url === undefined) return null;
  const { protocol, hostname, origin, pathname } = new URL(url);
  if (protocol !== 'https:' && !isLoopbackName(hostname)) {
    throw new ConfigError(
      'The setting SWATCH_GAUGE_HOSTED cannot be used: the address must begin with https.',
    );
  }
  if (pathname !== '/') {
    throw new ConfigError(
      'The setting SWATCH_GAUGE_HOSTED cannot be used: the page has no place below a path.',
    );
  }
  return origin;
}

function objectStoreFrom(env: z.output<typeof environmentSchema>): ObjectStoreConfig | null {
  const { SWATCH_GAUGE_S3_URL: url, SWATCH_GAUGE_S3_KEY_ID: keyId, SWATCH_GAUGE_S3_KEY: key } = env;
  if (url === undefined) return null;
  if (keyId === undefined || key === undefined) {
    const missing = keyId === undefined ? 'SWATCH_GAUGE_S3_KEY_ID' : 'SWATCH_GAUGE_S3_KEY';
    throw new ConfigError(`The setting ${missing} is missing; SWATCH_GAUGE_S3_URL needs it.`);
  }
  return { url, region: env.SWATCH_GAUGE_S3_REGION, keyId, key };
}

/** Whether a host name (without port) means this very computer. */
export function isLoopbackName(name: string): boolean {
  const plain = name.toLowerCase().replace(/^\[(.*)\]$/, '$1');
  return plain === 'localhost' || plain === '::1' || (isIP(plain) === 4 && plain.startsWith('127.'));
}

/** Where each system keeps a user's program data. */
function defaultDataFolder(environment: NodeJS.ProcessEnv): string {
  const home = homedir();
  if (process.platform === 'win32') {
    return join(environment.LOCALAPPDATA ?? join(home, 'AppData', 'Local'), 'swatch-gauge');
  }
  if (process.platform === 'darwin') return join(home, 'Library', 'Application Support', 'swatch-gauge');
  return join(environment.XDG_DATA_HOME ?? join(home, '.local', 'share'), 'swatch-gauge');
}
