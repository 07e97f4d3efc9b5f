import { CompiledQuery, sql, type Transaction } from 'kysely';
import PgBoss from 'pg-boss';
import type { Database } from '../storage/openDatabase.ts';
import type { Tables } from '../storage/tables.ts';

const QUEUE = 'measure';
/** Messages between processes about jobs: "queued", or "job <id>" when the job changed. */
export const JOB_CHANNEL = 'swatch_gauge_jobs';

/** No rows at all, which the library takes for "nothing done"; of an empty list it would read the first row. */
const NO_ANSWER = {} as { rows: never[] };

export interface JobQueue {
  /** Adds a job within the caller's transaction: both are there after a crash, or neither. */
  enqueue(transaction: Transaction<Tables>, measurementId: string): Promise<void>;
  /** Starts `count` takers of jobs; a handler that throws gives its job back for another try. */
  work(count: number, handle: (measurementId: string) => Promise<void>): Promise<void>;
  /** Lets the takers look for a job now instead of at their next look. */
  wake(): void;
  /** Takes no more jobs, waits for the ones in hand up to `seconds`, then gives up waiting. */
  stop(seconds: number): Promise<void>;
}

/**
 * Opens the queue of measuring jobs, which lives in the database itself.
 *
 * @param jobSeconds a job not finished after this long is thought lost with its worker and is handed out again
 */
export async function openQueue(
  database: Database,
  options: { jobSeconds: number; onError: (error: Error) => void },
): Promise<JobQueue> {
  let isOpen = false;
  let isStopped = false;
  /**
   * Once it is open, a query of the queue's own that fails is only told of: the library lets go of its word that a
   * job is done or failed without listening, so that an absent database or a full disk would end the process. A job
   * that nobody heard of is handed out again, and its taker finds it finished.
   */
  const executeSql = async (text: string, values?: unknown[]): Promise<{ rows: never[] }> => {
    try {
      return (await database.executeSql(text, values)) as { rows: never[] };
    } catch (error) {
      if (!isOpen) throw error;
      if (!isStopped) options.onError(error as Error);
      return NO_ANSWER;
    }
  };
  const boss = new PgBoss({
    db: { executeSql },
    schedule: false,
    maintenanceIntervalSeconds: Math.max(1, Math.min(10, Math.floor(options.jobSeconds / 3))),
    archiveCompletedAfterSeconds: 3600,
    deleteAfterDays: 7,
  });
  boss.on('error', options.onError);
  const queue = { name: QUEUE, retryLimit: 3, retryDelay: 0, expireInSeconds: options.jobSeconds };
  // The queue's tables cannot be made by two processes at once.
  await database.alone('swatch-gauge queue', async () => {
    await boss.start();
    await boss.createQueue(QUEUE, queue);
    await boss.updateQueue(QUEUE, queue);
  });
  isOpen = true;
  const takers: string[] = [];

  return {
    async enqueue(transaction, measurementId) {
      const db = {
        executeSql: async (text: string, values: unknown[]) => ({
          rows: (await transaction.executeQuery(CompiledQuery.raw(text, values))).rows as never[],
        }),
      };
      // "Since an hour ago": takers ask for start times before now, and the embedded clock is coarse.
      await boss.send(
        QUEUE,
        { measurementId },
        { db, startAfter: new Date(Date.now() - 3_600_000) as never },
      );
      await notify(transaction, 'queued');
    },
    async work(count, handle) {
      for (let i = 0; i < count; i++) {
        const id: string = await boss.work<{ measurementId: string }>(
          QUEUE,
          { batchSize: 1, pollingIntervalSeconds: 2 },
          async ([job]) => {
            try {
              await handle(job!.data.measurementId);
            } finally {
              boss.notifyWorker(id); // looks for the next job at once, not at the end of its interval
            }
          },
        );
        takers.push(id);
      }
    },
    wake() {
      for (const id of takers) boss.notifyWorker(id);
    },
    async stop(seconds) {
      await boss.stop({ graceful: seconds > 0, timeout: Math.max(1000, seconds * 1000), close: false });
      isStopped = true;
    },
  };
}

/** Tells every process about a job; inside a transaction the message leaves with its commit. */
export async function notify(
  db: Pick<Transaction<Tables>, 'executeQuery' | 'getExecutor'>,
  message: string,
): Promise<void> {
  await sql`select pg_notify(${JOB_CHANNEL}, ${message})`.execute(db);
}
