import { Router } from 'express';
import { sql } from 'kysely';
import { visitorOf } from '../access.ts';
import { ProblemError } from '../api/problem.ts';
import { photoFormSchema } from '../api/schemas.ts';
import { askIfThereIsRoom } from '../jobs/askToMeasure.ts';
import { refuseWhenBusy } from '../jobs/refuseWhenBusy.ts';
import { admitPhoto } from '../photos/admitPhoto.ts';
import { photoFromRow } from '../photos/photoFromRow.ts';
import { requirePhoto } from '../photos/readPhoto.ts';
import type { Services } from '../services.ts';
import { receiveFile } from './receiveFile.ts';
import { idOf } from './requestParts.ts';
import { sendImage } from './sendImage.ts';

/** Photos: upload, look at, delete. */
export function photoRoutes(services: Services): Router {
  const { database, photos, config } = services;
  const router = Router();
  const { receive, read } = receiveFile(services, {
    field: 'photo',
    largestBytes: config.largestPhotoBytes,
    tooLarge: 'photo-too-large',
    missing: 'photo-missing',
  });

  router.post('/photos', refuseWhenBusy(services), receive, async (req, res) => {
    const { ownerId } = visitorOf(res);
    const { measure } = photoFormSchema.parse(req.body ?? {});
    const photo = await admitPhoto(services, ownerId, await read(req));
    res.status(201).location(`/api/v1/photos/${photo.id}`);
    if (measure === undefined) {
      res.json(photo);
      return;
    }
    const measurement = await askIfThereIsRoom(services, ownerId, { photoId: photo.id, options: measure });
    res.json({ ...photo, measurement });
  });

  router.get('/photos/:id', async (req, res) => {
    const row = await database.db
      .selectFrom('photos')
      .selectAll()
      .where('id', '=', idOf(req))
      .where('owner_id', '=', visitorOf(res).ownerId)
      .executeTakeFirst();
    if (!row) throw new ProblemError('not-found');
    res.json(photoFromRow(row));
  });

  router.get('/photos/:id/image', async (req, res) => {
    const { bytes } = await requirePhoto(services, visitorOf(res).ownerId, idOf(req));
    await sendImage(req, res, { bytes, type: 'image/jpeg', immutable: false });
  });

  router.delete('/photos/:id', async (req, res) => {
    const { row } = await requirePhoto(services, visitorOf(res).ownerId, idOf(req));
    const { used } = await database.db
      .selectNoFrom(
        sql<boolean>`
          exists (select from pieces
            where owner_id = ${row.owner_id} and position(${row.id} in document::text) > 0) or
          exists (select from checks
            where owner_id = ${row.owner_id} and position(${row.id} in document::text) > 0)`.as('used'),
      )
      .executeTakeFirstOrThrow();
    if (used) throw new ProblemError('photo-in-use');
    await database.db.deleteFrom('photos').where('id', '=', row.id).execute();
    await photos.remove(row.blob_key);
    res.status(204).end();
  });

  return router;
}
