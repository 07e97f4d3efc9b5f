import { EventEmitter } from 'node:events';
import { mkdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import type { Logger } from 'pino';
import type { Config } from './config.ts';
import { JOB_CHANNEL, openQueue, type JobQueue } from './jobs/openQueue.ts';
import { requeueLost } from './jobs/requeueLost.ts';
import { runMeasurement } from './jobs/runMeasurement.ts';
import { hideMissedReferences } from './photos/hideMissedReferences.ts';
import { openVisionPool, type VisionPool } from './measuring/visionPool.ts';
import { createMetrics, type Metrics } from './metrics.ts';
import { openObjectStore } from './storage/objectStore.ts';
import { openDatabase, type Database } from './storage/openDatabase.ts';
import { openFolderStore, type PhotoStore } from './storage/photoStore.ts';
import { tidy } from './storage/tidy.ts';

/** What the routes and the jobs work with; made once a process, closed in reverse. */
export interface Services {
  config: Config;
  database: Database;
  queue: JobQueue;
  photos: PhotoStore;
  vision: VisionPool;
  metrics: Metrics;
  log: Logger;
  /** Emits `job` + id whenever a measuring job changed, whichever process changed it. */
  events: EventEmitter;
  /** Uploads lie here while they are received; emptied at start. */
  incomingFolder: string;
  /** Aborted when the process is asked to stop: followers are let go, and it says it is not ready. */
  stopping: AbortSignal;
  /** Aborted when jobs in hand have had their time to finish and are given back. */
  givingBack: AbortSignal;
  stop(): void;
  /** Finishes the jobs in hand (or gives them back), then closes everything. */
  close(): Promise<void>;
}

/** Seconds that jobs in hand may take to finish when the process is asked to stop. */
const GRACE_SECONDS = 10;
const TIDY_EVERY_MS = 6 * 3_600_000;

/**
 * Opens storage, queue and measuring processes.
 *
 * @param options.takesJobs false for a process that only answers requests
 * @param options.visionTaskFile for tests: what runs in the measuring processes
 * @throws StorageError
 */
export async function openServices(
  config: Config,
  options: { log: Logger; takesJobs?: boolean; visionTaskFile?: string },
): Promise<Services> {
  const { log } = options;
  const takesJobs = (options.takesJobs ?? true) && config.visionProcesses > 0;
  const photos = config.objectStore
    ? await openObjectStore(config.objectStore)
    : openFolderStore(join(config.dataFolder, 'photos'));
  const database = await openDatabase(config);
  const stopping = new AbortController();
  const givingBack = new AbortController();
  const running = new Map<string, AbortController>();
  const events = new EventEmitter().setMaxListeners(0);
  const incomingFolder = join(config.dataFolder, 'incoming', String(process.pid));
  await rm(incomingFolder, { recursive: true, force: true });
  await mkdir(incomingFolder, { recursive: true, mode: 0o700 });
  const vision = openVisionPool({
    processes: config.visionProcesses,
    timeoutSeconds: config.measureTimeoutSeconds,
    heapMegabytes: config.processHeapMegabytes,
    ...(options.visionTaskFile ? { taskFile: options.visionTaskFile } : {}),
  });
  const queue = await openQueue(database, {
    // A job may first wait while another one takes its full time.
    jobSeconds: 2 * Math.ceil(config.measureTimeoutSeconds) + 5,
    onError: (error) => log.error({ err: error }, 'job queue'),
  });

  const services: Services = {
    config,
    database,
    queue,
    photos,
    vision,
    metrics: createMetrics(vision.usage),
    log,
    events,
    incomingFolder,
    stopping: stopping.signal,
    givingBack: givingBack.signal,
    stop: () => stopping.abort(),
    async close() {
      clearInterval(tidying);
      stopping.abort();
      const grace = setTimeout(() => {
        givingBack.abort();
        for (const job of running.values()) job.abort();
      }, GRACE_SECONDS * 1000);
      await queue.stop(GRACE_SECONDS + 5);
      clearTimeout(grace);
      await vision.close();
      await database.close();
      await rm(incomingFolder, { recursive: true, force: true });
    },
  };

  await database.listen(JOB_CHANNEL, (message) => {
    if (message === 'queued') queue.wake();
    const [subject, id] = message.split(' ');
    if (subject === 'cancel') running.get(id!)?.abort();
    if (id) events.emit(`job ${id}`);
  });
  if (takesJobs) {
    // One more than there are processes, so that the next photo lies ready when one becomes free.
    await queue.work(config.visionProcesses + 1, async (measurementId) => {
      const cancel = new AbortController();
      running.set(measurementId, cancel);
      try {
        await runMeasurement(services, measurementId, cancel.signal);
      } finally {
        running.delete(measurementId);
      }
    });
  }
  if (database.kind === 'embedded') await requeueLost(services);
  /** Tells of what goes wrong in the background, but not of what is cut off by the end of the process. */
  const warn =
    (message: string) =>
    (error: unknown): void => {
      if (!stopping.signal.aborted) log.warn({ err: error }, message);
    };
  if (takesJobs) vision.warmUp().catch(warn('warming up failed'));
  const runTidy = (): void => {
    tidy(services)
      .then(() => (takesJobs ? hideMissedReferences(services) : undefined))
      .catch(warn('tidying failed'));
  };
  const tidying = setInterval(runTidy, TIDY_EVERY_MS);
  tidying.unref();
  runTidy();
  return services;
}
