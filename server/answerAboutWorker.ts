import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { sql } from 'kysely';
import { lookAtQueue } from './jobs/lookAtQueue.ts';
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
  const { metrics, database, stopping, log } = services;
  const answers: Record<string, () => Promise<[status: number, type: string, body: string]>> = {
    '/healthz': async () => [200, 'application/json', '{"status":"ok"}'],
    '/readyz': async () => {
      if (stopping.aborted) return [503, 'application/json', '{"status":"stopping"}'];
      await sql`select 1`.execute(database.db);
      return [200, 'application/json', '{"status":"ok"}'];
    },
    '/metrics': async () => {
      await lookAtQueue(services).catch(() => {}); // what is counted here needs no database
      return [200, metrics.registry.contentType, await metrics.registry.metrics()];
    },
  };
  const server = createServer({ requestTimeout: 10_000, headersTimeout: 10_000 }, (req, res) => {
    const { url = '', method } = req;
    const answer = method === 'GET' && Object.hasOwn(answers, url) ? answers[url]! : null;
    const asked = answer ? answer() : Promise.resolve<[number, string, string]>([404, 'text/plain', '']);
    asked
      .catch((error: unknown): [number, string, string] => {
        log.warn({ err: error }, 'not ready');
        return [503, 'application/json', '{"status":"database-away"}'];
      })
      .then(([status, type, body]) => res.writeHead(status, { 'Content-Type': type }).end(body))
      .catch(() => res.destroy());
  });
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
