import { randomUUID } from 'node:crypto';
import { Router, type Request, type Response } from 'express';
import { sql, type Selectable } from 'kysely';
import { visitorOf } from '../access.ts';
import { requireRoom, requireTurn } from '../accounts/usage.ts';
import { ProblemError } from '../api/problem.ts';
import { measurementRequestSchema, type MeasurementJob } from '../api/schemas.ts';
import { lookAtQueue } from '../jobs/lookAtQueue.ts';
import { notify } from '../jobs/openQueue.ts';
import { refuseWhenBusy } from '../jobs/refuseWhenBusy.ts';
import { requirePhoto } from '../photos/readPhoto.ts';
import type { Services } from '../services.ts';
import type { MeasurementsTable } from '../storage/tables.ts';
import { idOf } from './requestParts.ts';
import { sendImage } from './sendImage.ts';

/** Proxies and phones drop connections that are silent for long. */
const HEARTBEAT_MS = 15_000;

/** Measuring: ask for it, follow it, cancel it, see the overlay. */
export function measurementRoutes(services: Services): Router {
  const { database, queue, events } = services;
  const { db } = database;
  const router = Router();

  const find = async (req: Request, res: Response): Promise<MeasurementJob> => {
    const row = await db
      .selectFrom('measurements')
      .selectAll()
      .where('id', '=', idOf(req))
      .where('owner_id', '=', visitorOf(res).ownerId)
      .executeTakeFirst();
    if (!row) throw new ProblemError('not-found');
    return jobFromRow(row);
  };

  router.post('/measurements', refuseWhenBusy(services), async (req, res) => {
    const { photoId, options } = measurementRequestSchema.parse(req.body);
    const { ownerId } = visitorOf(res);
    const photo = await db
      .selectFrom('photos')
      .select('id')
      .where('id', '=', photoId)
      .where('owner_id', '=', ownerId)
      .executeTakeFirst();
    if (!photo) throw new ProblemError('photo-gone');
    await requireRoom(db, services.config, ownerId, 0);
    await requireTurn(db, services.config, ownerId);
    const { waiting } = await lookAtQueue(services); // this one included
    const row = await db.transaction().execute(async (transaction) => {
      const inserted = await transaction
        .insertInto('measurements')
        .values({
          id: randomUUID(),
          owner_id: ownerId,
          photo_id: photoId,
          options: sql`${JSON.stringify(options)}::jsonb`,
          state: 'queued',
          stages_done: sql`'[]'::jsonb`,
          queued_before: Math.max(0, waiting - 1),
          attempts: 0,
        })
        .returningAll()
        .executeTakeFirstOrThrow();
      await queue.enqueue(transaction, inserted.id);
      return inserted;
    });
    queue.wake();
    res.status(202).location(`/api/v1/measurements/${row.id}`).json(jobFromRow(row));
  });

  router.get('/measurements/:id', async (req, res) => {
    res.json(await find(req, res));
  });

  router.get('/measurements/:id/events', async (req, res) => {
    const first = await find(req, res);
    res.writeHead(200, {
      'Content-Type': 'text/event-stream',
      'Cache-Control': 'no-cache, no-transform',
      'X-Accel-Buffering': 'no',
    });
    let sending = Promise.resolve();
    const changed = `job ${first.id}`;
    const send = (job: MeasurementJob): void => {
      if (res.writableEnded) return;
      res.write(`event: job\ndata: ${JSON.stringify(job)}\n\n`);
      if (isOver(job)) res.end();
    };
    const onChange = (): void => {
      // One after the other, so that the stages arrive in order.
      sending = sending.then(async () => send(await find(req, res))).catch(() => void res.end());
    };
    const heartbeat = setInterval(() => res.write(': still here\n\n'), HEARTBEAT_MS);
    const endWithServer = (): void => void res.end();
    services.stopping.addEventListener('abort', endWithServer);
    events.on(changed, onChange);
    res.once('close', () => {
      clearInterval(heartbeat);
      events.off(changed, onChange);
      services.stopping.removeEventListener('abort', endWithServer);
    });
    onChange(); // what happened between the look-up and listening is not missed
  });

  router.get('/measurements/:id/overlay', async (req, res) => {
    const job = await find(req, res);
    if (!job.measurement) throw new ProblemError('not-measured');
    const { bytes } = await requirePhoto(services, visitorOf(res).ownerId, job.photoId);
    const png = await services.vision.drawOverlay({ bytes }, job.measurement);
    await sendImage(req, res, { bytes: png, type: 'image/png', immutable: true });
  });

  router.delete('/measurements/:id', async (req, res) => {
    const { id } = await find(req, res);
    await db.transaction().execute(async (transaction) => {
      const { numUpdatedRows } = await transaction
        .updateTable('measurements')
        .set({ state: 'cancelled', finished_at: new Date() })
        .where('id', '=', id)
        .where('state', 'in', ['queued', 'running'])
        .executeTakeFirst();
      if (numUpdatedRows > 0n) await notify(transaction, `cancel ${id}`);
    });
    res.json(await find(req, res));
  });

  return router;
}

const isOver = (job: MeasurementJob): boolean => job.state !== 'queued' && job.state !== 'running';

/** A job as the API shows it. */
export function jobFromRow(row: Selectable<MeasurementsTable>): MeasurementJob {
  return {
    id: row.id,
    photoId: row.photo_id,
    state: row.state,
    stagesDone: row.stages_done,
    queuedBefore: row.queued_before,
    options: row.options,
    measurement: row.result,
    problem: row.problem,
    createdAt: row.created_at.toISOString(),
    finishedAt: row.finished_at?.toISOString() ?? null,
  };
}
