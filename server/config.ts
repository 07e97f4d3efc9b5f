import { homedir } from 'node:os';
import { join } from 'node:path';
import { availableParallelism } from 'node:os';
import { z } from 'zod';

const environmentSchema = z.object({
  PORT: z.coerce.number().int().min(0).max(65_535).optional(),
  HOST: z.string().min(1).default('127.0.0.1'),
  DATABASE_URL: z.url({ protocol: /^postgres(ql)?$/ }).optional(),
  SWATCH_GAUGE_DATA: z.string().min(1).optional(),
  /** Vision threads in this process; 0 = this process only takes requests. */
  SWATCH_GAUGE_THREADS: z.coerce.number().int().min(0).max(64).optional(),
  /** Heap of one vision thread, megabytes; one that needs more is ended and replaced. */
  SWATCH_GAUGE_THREAD_MEGABYTES: z.coerce.number().int().min(64).max(16_384).default(1024),
  /** A photo that takes longer than this is given up. */
  SWATCH_GAUGE_MEASURE_SECONDS: z.coerce.number().min(1).max(600).default(30),
  /** Photos that may wait to be measured before more are turned away for a while. */
  SWATCH_GAUGE_QUEUE: z.coerce.number().int().min(1).max(100_000).default(100),
  /** What all kept photos together may take, megabytes. */
  SWATCH_GAUGE_PHOTO_MEGABYTES: z.coerce.number().positive().default(20_000),
  LOG_LEVEL: z.enum(['fatal', 'error', 'warn', 'info', 'debug', 'trace', 'silent']).default('info'),
});

/** How this process runs; everything that the environment can change, with its unit. */
export interface Config {
  host: string;
  /** null: 4173, or any free one when that is taken. */
  port: number | null;
  /** Folder that holds the embedded database and the photos. */
  dataFolder: string;
  /** null: the embedded database in `dataFolder`. */
  databaseUrl: string | null;
  visionThreads: number;
  threadHeapMegabytes: number;
  measureTimeoutSeconds: number;
  longestQueue: number;
  photoQuotaBytes: number;
  /** Bytes of one uploaded photo, and of one piece file. */
  largestPhotoBytes: number;
  largestPieceFileBytes: number;
  largestPhotoMegapixels: number;
  logLevel: string;
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
    host: env.HOST,
    port: env.PORT ?? null,
    dataFolder: env.SWATCH_GAUGE_DATA ?? defaultDataFolder(environment),
    databaseUrl: env.DATABASE_URL ?? null,
    visionThreads: env.SWATCH_GAUGE_THREADS ?? Math.min(2, availableParallelism()),
    threadHeapMegabytes: env.SWATCH_GAUGE_THREAD_MEGABYTES,
    measureTimeoutSeconds: env.SWATCH_GAUGE_MEASURE_SECONDS,
    longestQueue: env.SWATCH_GAUGE_QUEUE,
    photoQuotaBytes: env.SWATCH_GAUGE_PHOTO_MEGABYTES * 1e6,
    largestPhotoBytes: 40 * 1024 * 1024,
    largestPieceFileBytes: 400 * 1024 * 1024,
    largestPhotoMegapixels: 120,
    logLevel: env.LOG_LEVEL,
  };
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
