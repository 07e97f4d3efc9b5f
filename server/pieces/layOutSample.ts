import { once } from 'node:events';
import { SAMPLE_PLAN, type PlanSpec } from '../../calc/index.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { pieceCreateSchema } from '../api/schemas.ts';
import { LOCAL_OWNER } from '../owner.ts';
import { SAMPLES_FOLDER, sampleFiles, takeSample } from '../photos/samplePhotos.ts';
import type { Services } from '../services.ts';
import { createPiece } from './pieceStore.ts';

/** What the piece is called in the list; hers to change. */
const NAME = 'Harbour throw (a sample)';

/**
 * Lays out a piece to look around in for somebody who has nothing here yet: the first sample photo, really measured by
 * the same queue as every photo, and a throw planned from what was read. Does nothing once there is a piece, a deleted
 * one included, or a photo of her own; what a crash cut short is done at the next start.
 */
export async function layOutSample(services: Services, folder = SAMPLES_FOLDER): Promise<void> {
  const [file] = await sampleFiles(folder);
  if (!file || !(await isUntouched(services))) return;
  const { id: photoId, measurement: job } = await takeSample(services, LOCAL_OWNER, {
    folder,
    name: file.replace(/\.jpg$/, ''),
    measure: {},
  });
  const gauge = job && (await measurementOf(services, job.id))?.gauge;
  if (!gauge) return;
  const { stitchesPer10cm, rowsPer10cm } = gauge;
  const plan: PlanSpec = {
    ...SAMPLE_PLAN,
    gauge: { stitchesPer10cm, rowsPer10cm },
    units: 'cm',
    terms: 'us',
  };
  const piece = pieceCreateSchema.parse({
    name: NAME,
    units: 'cm',
    terms: 'us',
    swatches: [
      {
        id: crypto.randomUUID(),
        role: 'main',
        photoId,
        measurementId: job.id,
        stitch: SAMPLE_PLAN.stitch,
        gauge,
        gaugeFrom: 'measurement',
      },
    ],
    plan,
  });
  await createPiece(services.database.db, LOCAL_OWNER, piece);
}

async function isUntouched({ database: { db } }: Services): Promise<boolean> {
  const own = await db
    .selectFrom('photos')
    .select('id')
    .where('owner_id', '=', LOCAL_OWNER)
    .where('sample', 'is', null)
    .limit(1)
    .execute();
  const pieces = await db
    .selectFrom('pieces')
    .select('id')
    .where('owner_id', '=', LOCAL_OWNER)
    .limit(1)
    .execute();
  return own.length === 0 && pieces.length === 0;
}

/** Waits for a job's end; null when it ends without an answer or the process is asked to stop. */
async function measurementOf(services: Services, jobId: string): Promise<Measurement | null> {
  const { database, events, stopping } = services;
  while (!stopping.aborted) {
    const changed = new AbortController();
    const next = once(events, `job ${jobId}`, { signal: AbortSignal.any([stopping, changed.signal]) });
    next.catch(() => {}); // no longer waited for
    const job = await database.db
      .selectFrom('measurements')
      .select(['state', 'result'])
      .where('id', '=', jobId)
      .executeTakeFirst();
    if (job?.state === 'queued' || job?.state === 'running') {
      await next.catch(() => {});
      continue;
    }
    changed.abort();
    return job?.result ?? null;
  }
  return null;
}
