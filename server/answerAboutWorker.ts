import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import express from 'express';
import { answerWithProblem } from './api/answerWithProblem.ts';
import { ProblemError } from './api/problem.ts';
import { statusRoutes } from './routes/status.ts';
import type { Services } from './services.ts';

/**
 * Answers `/healthz`, `/readyz` and `/metrics` of a process that only measures, to this computer alone: a worker has
 * no other door, and what it measured is counted in it.
 *
 * @param port 0 for any free one
 * @throws the system's error when the port is taken or forbidden
 */
export async function answerAboutWorker(
  services: Services,
  port: number,
): Promise<{ port: number; stop: () => void }> {
  const app = express();
  app.disable('x-powered-by');
  app.use(statusRoutes(services));
  app.use((): void => {
    throw new ProblemError('not-found');
  });
  app.use(answerWithProblem(services));
  const server = createServer({ requestTimeout: 10_000, headersTimeout: 10_000 }, app);
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, '127.0.0.1', resolve);
  });
  return {
    port: (server.address() as AddressInfo).port,
    stop: () => {
      server.close();
      server.closeAllConnections();
    },
  };
}
