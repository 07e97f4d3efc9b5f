import type { Services } from '../services.ts';

/**
 * Removes an account with everything that is its own, at once and for good: pieces, checks, measurements and
 * photos. Picture files that a crash leaves behind here are removed by tidying.
 */
export async function removeAccount({ database, photos }: Services, accountId: string): Promise<void> {
  const removed = await database.db.transaction().execute(async (transaction) => {
    await transaction.deleteFrom('pieces').where('owner_id', '=', accountId).execute();
    await transaction.deleteFrom('checks').where('owner_id', '=', accountId).execute();
    await transaction.deleteFrom('measurements').where('owner_id', '=', accountId).execute();
    const pictures = await transaction
      .deleteFrom('photos')
      .where('owner_id', '=', accountId)
      .returning('blob_key')
      .execute();
    await transaction.deleteFrom('accounts').where('id', '=', accountId).execute();
    return pictures;
  });
  for (const { blob_key } of removed) await photos.remove(blob_key);
}
