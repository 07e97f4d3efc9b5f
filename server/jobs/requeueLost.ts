import type { Services } from '../services.ts';

/**
 * Hands out again every job that was waiting or in hand when this process's predecessor died.
 *
 * For the embedded database only: there this process is the only one, so nobody else can be at work on them.
 * (With PostgreSQL the queue itself hands a job out again when its time is up.) A job that is still in the
 * queue is then there twice; the second taker finds it finished.
 */
export async function requeueLost({ database, queue }: Services): Promise<void> {
  await database.db.transaction().execute(async (transaction) => {
    const open = await transaction
      .updateTable('measurements')
      .set({ state: 'queued' })
      .where('state', 'in', ['queued', 'running'])
      .returning('id')
      .execute();
    for (const { id } of open) await queue.enqueue(transaction, id);
  });
}
