import { Router, type RequestHandler } from 'express';
import { sql } from 'kysely';
import { ProblemError } from '../api/problem.ts';
import { lookAtQueue } from '../jobs/lookAtQueue.ts';
import type { Services } from '../services.ts';

/**
 * How this process is, for whoever runs it: `/healthz` (it runs), `/readyz` (it can reach its database and takes
 * work) and `/metrics` (Prometheus).
 *
 * @param mayRead stand before the metrics
 */
export function statusRoutes(services: Services, ...mayRead: RequestHandler[]): Router {
  const { metrics, database, stopping } = services;
  const router = Router();
  router.get('/healthz', (_req, res) => {
    res.json({ status: 'ok' });
  });
  router.get('/readyz', async (_req, res) => {
    if (stopping.aborted) throw new ProblemError('too-busy', { retryAfterSeconds: 5 });
    await sql`select 1`.execute(database.db);
    res.json({ status: 'ok' });
  });
  router.get('/metrics', ...mayRead, async (_req, res) => {
    await lookAtQueue(services).catch(() => {}); // what is counted here needs no database
    res.type(metrics.registry.contentType).send(await metrics.registry.metrics());
  });
  return router;
}
