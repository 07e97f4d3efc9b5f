import type { Services } from '../services.ts';

/** Photos waiting to be measured, in all processes together. */
export async function countWaiting({ database, metrics }: Services): Promise<number> {
  const { waiting } = await database.db
    .selectFrom('measurements')
    .select(({ fn }) => fn.countAll<string>().as('waiting'))
    .where('state', '=', 'queued')
    .executeTakeFirstOrThrow();
  metrics.queued.set(Number(waiting));
  return Number(waiting);
}
