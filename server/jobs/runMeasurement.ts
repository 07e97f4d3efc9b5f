import { setTimeout as sleep } from 'node:timers/promises';
import { sql } from 'kysely';
import type { Stage } from '../../vision/measurement.ts';
import { isVisionError } from '../../vision/errors.ts';
import { problemFrom, problemOf } from '../api/problem.ts';
import type { Problem } from '../api/schemas.ts';
import type { LeaveSlot } from '../measuring/slots.ts';
import { VisionFault } from '../measuring/visionPool.ts';
import { hideReferenceInPhoto } from '../photos/hideReferenceInPhoto.ts';
import { locatePhoto, type LocatedPhoto } from '../photos/readPhoto.ts';
import type { Services } from '../services.ts';
import { JOB_CHANNEL, notify } from './openQueue.ts';
import { whoFollows } from './whoFollows.ts';

/** A worker may die this often over one photo (which may be the photo's doing) before it is given up. */
const MOST_ATTEMPTS = 3;
/** Progress is for people: more often than this is only work for the database. */
const STAGE_PAUSE_MS = 200;

/**
 * Does one measuring job from its row in the database to its answer there.
 *
 * Safe to be called twice for the same job, also at once: the answer is stored by whoever is first.
 *
 * @param signal aborts when the maker cancels or the process shuts down
 * @throws when the job should be handed out again
 */
export async function runMeasurement(
  services: Services,
  measurementId: string,
  signal: AbortSignal,
): Promise<void> {
  const { vision } = services;
  const { db } = services.database;
  // All that can be done before a process is free is done before: its photo lies ready.
  const waiting = await db
    .selectFrom('measurements')
    .select('photo_id')
    .where('id', '=', measurementId)
    .where('state', 'in', ['queued', 'running'])
    .executeTakeFirst();
  if (!waiting) return; // finished by another worker, or cancelled
  const found = await locatePhoto(services, waiting.photo_id).then(
    (photo) => ({ photo }),
    (error: unknown) => ({ error }),
  );
  const slot = await vision.enter(signal).catch((error: unknown) => {
    if (services.givingBack.aborted) throw error;
    return null; // cancelled before its turn
  });
  if (!slot) return;
  const followers = whoFollows(services, measurementId);
  try {
    await measureInSlot(services, { measurementId, found, slot, followers }, signal);
  } finally {
    followers.stop();
    slot();
  }
}

type Found = { photo: LocatedPhoto | null } | { error: unknown };

async function measureInSlot(
  services: Services,
  {
    measurementId,
    found,
    slot,
    followers,
  }: { measurementId: string; found: Found; slot: LeaveSlot; followers: ReturnType<typeof whoFollows> },
  signal: AbortSignal,
): Promise<void> {
  const { database, vision, metrics, log } = services;
  const { db } = database;
  const job = await db
    .updateTable('measurements')
    .set({ state: 'running', attempts: sql`attempts + 1`, stages_done: sql`'[]'::jsonb` })
    .where('id', '=', measurementId)
    .where('state', 'in', ['queued', 'running'])
    .returning(['options', 'attempts'])
    .executeTakeFirst();
  if (!job) return; // finished by another worker, or cancelled
  const startedMs = performance.now();

  const stages: Stage[] = [];
  const notTold = (error: unknown): void => log.warn({ err: error }, 'a stage could not be told');
  let told: Promise<unknown> = followers.areThere()
    ? notify(db, `job ${measurementId}`).catch(notTold)
    : Promise.resolve();
  let toldCount = 0;
  const tellStage = (stage: Stage): void => {
    stages.push(stage);
    told = told
      .then(async () => {
        // Stages that came while others were being told are told together.
        if (toldCount === stages.length || !followers.areThere()) return;
        toldCount = stages.length;
        await sql`
          with told as (
            update measurements set stages_done = ${JSON.stringify(stages)}::jsonb
            where id = ${measurementId} and state = 'running' returning id)
          select pg_notify(${JOB_CHANNEL}, ${`job ${measurementId}`}) from told`.execute(db);
        await sleep(STAGE_PAUSE_MS, undefined, { ref: false });
      })
      .catch(notTold);
  };

  const finish = async (outcome: { result: string } | { problem: string }): Promise<boolean> => {
    toldCount = stages.length; // all of them go with the answer
    return await db.transaction().execute(async (transaction) => {
      const { numUpdatedRows } = await transaction
        .updateTable('measurements')
        .set(
          'result' in outcome
            ? {
                state: 'finished',
                result: sql`${outcome.result}::jsonb`,
                stages_done: sql`${JSON.stringify(stages)}::jsonb`,
                finished_at: new Date(),
              }
            : { state: 'failed', problem: sql`${outcome.problem}::jsonb`, finished_at: new Date() },
        )
        .where('id', '=', measurementId)
        .where('state', '=', 'running')
        .executeTakeFirst();
      await notify(transaction, `job ${measurementId}`);
      return numUpdatedRows > 0n;
    });
  };
  const fail = async (problem: Problem): Promise<void> => {
    if (await finish({ problem: JSON.stringify(problem) }))
      metrics.measurements.inc({ outcome: problem.code });
  };

  if ('error' in found) {
    const { error } = found;
    log.error({ err: error, attempts: job.attempts }, 'a photo could not be read');
    if (job.attempts < MOST_ATTEMPTS) throw error;
    return await fail(problemFrom(error));
  }
  const { photo } = found;
  if (!photo) return await fail(problemOf('photo-gone'));

  try {
    const measurement = await vision.measure(photo.source, job.options, { onStage: tellStage, signal, slot });
    if (await finish({ result: JSON.stringify(measurement) })) {
      metrics.measurements.inc({ outcome: measurement.status });
      metrics.measuringSeconds.observe((performance.now() - startedMs) / 1000);
    }
    if (measurement.scale && !photo.row.reference_blurred) {
      await hideReferenceInPhoto(services, photo, measurement).catch((error: unknown) =>
        log.warn({ err: error }, 'a reference could not be blurred'),
      );
    }
  } catch (error) {
    if (isVisionError(error)) return await fail(problemFrom(error));
    if (error instanceof VisionFault && error.reason === 'cancelled') {
      toldCount = stages.length;
      if (services.givingBack.aborted) {
        await db
          .updateTable('measurements')
          .set({ state: 'queued', attempts: sql`attempts - 1` })
          .where('id', '=', measurementId)
          .where('state', '=', 'running')
          .execute();
        throw error; // another worker, or this one after its restart, will do it
      }
      return;
    }
    if (error instanceof VisionFault && error.reason === 'took-too-long')
      return await fail(problemOf('took-too-long'));
    // Its picture was replaced by one with the reference hidden: the next attempt finds that.
    if (error instanceof VisionFault && error.reason === 'photo-replaced' && job.attempts < MOST_ATTEMPTS)
      throw error;
    log.error({ err: error, attempts: job.attempts }, 'measuring failed');
    if (job.attempts >= MOST_ATTEMPTS || (error instanceof VisionFault && error.reason === 'failed')) {
      return await fail(problemOf('measuring-failed'));
    }
    throw error;
  }
}
