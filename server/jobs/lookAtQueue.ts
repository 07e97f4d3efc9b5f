import { sql } from 'kysely';
import type { Services } from '../services.ts';

export interface QueueLook {
  /** Photos waiting to be measured, in all processes together. */
  waiting: number;
  /** Photos measured in the last minute, in all processes together. */
  lastMinute: number;
}

/** A look this old is good enough to turn requests away by; under load there are hundreds a second. */
const GOOD_FOR_MS = 250;
const looks = new WeakMap<Services, { at: number; look: Promise<QueueLook> }>();

/** How busy measuring is. */
export function lookAtQueue(services: Services): Promise<QueueLook> {
  const last = looks.get(services);
  if (last && performance.now() - last.at < GOOD_FOR_MS) return last.look;
  const look = ask(services);
  looks.set(services, { at: performance.now(), look });
  return look;
}

async function ask({ database, metrics }: Services): Promise<QueueLook> {
  const { waiting, finished } = await database.db
    .selectNoFrom([
      sql<number>`(select count(*)::int from measurements where state = 'queued')`.as('waiting'),
      sql<number>`(
        select count(*)::int from measurements where finished_at > now() - interval '1 minute')`.as(
        'finished',
      ),
    ])
    .executeTakeFirstOrThrow();
  metrics.queued.set(waiting);
  return { waiting, lastMinute: finished };
}
