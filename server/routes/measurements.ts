import { Router, type Request, type Response } from 'express';
import { visitorOf } from '../access.ts';
import { ProblemError } from '../api/problem.ts';
import { measurementRequestSchema, type MeasurementJob } from '../api/schemas.ts';
import { askToMeasure } from '../jobs/askToMeasure.ts';
import { jobFromRow } from '../jobs/jobFromRow.ts';
import { notify } from '../jobs/openQueue.ts';
import { refuseWhenBusy } from '../jobs/refuseWhenBusy.ts';
import { lookedAt } from '../jobs/whoFollows.ts';
import { requirePhoto } from '../photos/readPhoto.ts';
import type { Services } from '../services.ts';
import { idOf } from './requestParts.ts';
import { sendImage } from './sendImage.ts';

/** Proxies and phones drop connections that are silent for long. */
const HEARTBEAT_MS = 15_000;

/** Measuring: ask for it, follow it, cancel it, see the overlay. */
export function measurementRoutes(services: Services): Router {
  const { database, events } = services;
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
    const asked = measurementRequestSchema.parse(req.body);
    const job = await askToMeasure(services, visitorOf(res).ownerId, asked);
    res.status(202).location(`/api/v1/measurements/${job.id}`).json(job);
  });

  router.get('/measurements/:id', async (req, res) => {
    const job = await find(req, res);
    if (!isOver(job)) events.emit(lookedAt(job.id));
    res.json(job);
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
