import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { Router } from 'express';
import sharp from 'sharp';
import { z } from 'zod';
import { visitorOf } from '../access.ts';
import { sampleRequestSchema, type Sample } from '../api/schemas.ts';
import { STITCH_KEYS } from '../../vision/types.ts';
import { refuseWhenBusy } from '../jobs/refuseWhenBusy.ts';
import { readSample, sampleFiles, SAMPLES_FOLDER, takeSample } from '../photos/samplePhotos.ts';
import type { Services } from '../services.ts';
import { sendImage } from './sendImage.ts';

/** What is told of a sample from its truth file. */
const truthSchema = z.object({
  title: z.string().optional().catch(undefined),
  fabric: z
    .object({ stitch: z.enum(STITCH_KEYS).optional().catch(undefined) })
    .optional()
    .catch(undefined),
});

/** The photos that come with the program, so that the first click works with no camera. */
export function sampleRoutes(services: Services, folder: string = SAMPLES_FOLDER): Router {
  const router = Router();

  const describe = async (file: string): Promise<Sample[]> => {
    const name = file.replace(/\.jpg$/, '');
    const size = await sharp(join(folder, file))
      .metadata()
      .catch(() => null); // damaged in this installation: the others are shown
    return size ? [{ name, ...(await truthOf(name)), widthPx: size.width, heightPx: size.height }] : [];
  };
  /** From the truth file beside the picture; without a readable one, the title is made of the name. */
  const truthOf = async (name: string): Promise<Pick<Sample, 'title' | 'stitch'>> => {
    const nameInWords = name.replaceAll(/[-_]+/g, ' ').replace(/^./, (first) => first.toUpperCase());
    const { title, fabric } = await readFile(join(folder, `${name}.json`), 'utf8')
      .then((text) => truthSchema.parse(JSON.parse(text)))
      .catch(() => truthSchema.parse({}));
    return { title: title ?? nameInWords, stitch: fabric?.stitch ?? null };
  };

  router.get('/samples', async (_req, res) => {
    res.json((await Promise.all((await sampleFiles(folder)).map(describe))).flat());
  });
  router.get('/samples/:name/image', async (req, res) => {
    await sendImage(req, res, {
      bytes: await readSample(folder, req.params.name),
      type: 'image/jpeg',
      immutable: false,
    });
  });
  router.post('/samples/:name/photo', refuseWhenBusy(services), async (req, res) => {
    const { measure } = sampleRequestSchema.parse(req.body ?? {});
    const name = String(req.params.name);
    const photo = await takeSample(services, visitorOf(res).ownerId, { folder, name, measure });
    res.location(`/api/v1/photos/${photo.id}`).json(photo);
  });
  return router;
}
