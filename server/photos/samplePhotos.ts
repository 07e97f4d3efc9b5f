import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { sql } from 'kysely';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { ProblemError } from '../api/problem.ts';
import type { AdmittedPhoto, MeasurementJob } from '../api/schemas.ts';
import { askIfThereIsRoom } from '../jobs/askToMeasure.ts';
import { jobFromRow } from '../jobs/jobFromRow.ts';
import type { Services } from '../services.ts';
import { admitPhoto } from './admitPhoto.ts';
import { photoFromRow } from './photoFromRow.ts';

/** Where the photos lie that come with the program. */
export const SAMPLES_FOLDER = fileURLToPath(new URL('../../fixtures/samples/', import.meta.url));

/** Their files' names, in order; none where the samples were left out of this installation. */
export async function sampleFiles(folder: string): Promise<string[]> {
  try {
    return (await readdir(folder)).filter((name) => /^[\w-]+\.jpg$/.test(name)).toSorted();
  } catch {
    return [];
  }
}

/**
 * A sample's bytes. Only names that are really in the folder are read, so that no path can lead out of it.
 *
 * @throws ProblemError `not-found`
 */
export async function readSample(folder: string, wanted: string): Promise<Uint8Array> {
  const file = (await sampleFiles(folder)).find((one) => one === `${wanted}.jpg`);
  if (!file) throw new ProblemError('not-found');
  return await readFile(join(folder, file));
}

/**
 * One owner's copy of a sample, made when it is first asked for; with it, where that is asked for too, its measurement,
 * which is begun only where there is none with these options yet.
 *
 * @throws ProblemError `not-found`, and what `admitPhoto` throws
 */
export async function takeSample(
  services: Services,
  ownerId: string,
  asked: { folder: string; name: string; measure?: MeasureOptions | undefined },
): Promise<AdmittedPhoto> {
  const { db } = services.database;
  const find = () =>
    db
      .selectFrom('photos')
      .selectAll()
      .where('owner_id', '=', ownerId)
      .where('sample', '=', asked.name)
      .executeTakeFirst();
  const make = async () =>
    await admitPhoto(services, ownerId, await readSample(asked.folder, asked.name), asked.name).catch(
      async (error: unknown) => {
        // Asked for twice at once: the other one was first.
        const row = await find();
        if (!row) throw error;
        return photoFromRow(row);
      },
    );
  const known = await find();
  const photo = known ? photoFromRow(known) : await make();
  if (!asked.measure) return photo;
  const before = await measuredBefore(services, photo.id, asked.measure);
  if (before) return { ...photo, measurement: before };
  const measurement = await askIfThereIsRoom(services, ownerId, {
    photoId: photo.id,
    options: asked.measure,
  });
  return { ...photo, measurement };
}

/** The latest measurement with the same options that is finished, or will be. */
async function measuredBefore(
  { database }: Services,
  photoId: string,
  options: MeasureOptions,
): Promise<MeasurementJob | null> {
  const row = await database.db
    .selectFrom('measurements')
    .selectAll()
    .where('photo_id', '=', photoId)
    .where('state', 'in', ['queued', 'running', 'finished'])
    .where(sql<boolean>`options = ${JSON.stringify(options)}::jsonb`)
    .orderBy('created_at', 'desc')
    .limit(1)
    .executeTakeFirst();
  return row ? jobFromRow(row) : null;
}
