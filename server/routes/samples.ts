import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Router } from 'express';
import sharp from 'sharp';
import { visitorOf } from '../access.ts';
import { ProblemError } from '../api/problem.ts';
import type { Sample } from '../api/schemas.ts';
import { STITCH_KEYS } from '../../vision/types.ts';
import { refuseWhenBusy } from '../jobs/refuseWhenBusy.ts';
import { admitPhoto } from '../photos/admitPhoto.ts';
import type { Services } from '../services.ts';
import { sendImage } from './sendImage.ts';

const SAMPLES_FOLDER = fileURLToPath(new URL('../../fixtures/samples/', import.meta.url));

/** The photos that come with the program, so that the first click works with no camera. */
export function sampleRoutes(services: Services, folder: string = SAMPLES_FOLDER): Router {
  const router = Router();

  const names = async (): Promise<string[]> => {
    try {
      return (await readdir(folder)).filter((name) => /^[\w-]+\.jpg$/.test(name)).toSorted();
    } catch {
      return []; // left out of this installation
    }
  };
  /** Only names that are really in the folder, so that no path can lead out of it. */
  const read = async (wanted: string): Promise<Uint8Array> => {
    const name = (await names()).find((one) => one === `${wanted}.jpg`);
    if (!name) throw new ProblemError('not-found');
    return await readFile(join(folder, name));
  };
  const describe = async (file: string): Promise<Sample> => {
    const name = file.replace(/\.jpg$/, '');
    const { width, height } = await sharp(join(folder, file)).metadata();
    return { name, ...(await truthOf(name)), widthPx: width, heightPx: height };
  };
  /** From the truth file beside the picture; without one, the title is made of the name. */
  const truthOf = async (name: string): Promise<Pick<Sample, 'title' | 'stitch'>> => {
    const nameInWords = name.replaceAll(/[-_]+/g, ' ').replace(/^./, (first) => first.toUpperCase());
    const kept = await readFile(join(folder, `${name}.json`), 'utf8').catch(() => '{}');
    const { title, fabric } = JSON.parse(kept) as { title?: unknown; fabric?: { stitch?: unknown } };
    return {
      title: typeof title === 'string' ? title : nameInWords,
      stitch: STITCH_KEYS.find((key) => key === fabric?.stitch) ?? null,
    };
  };

  router.get('/samples', async (_req, res) => {
    res.json(await Promise.all((await names()).map(describe)));
  });
  router.get('/samples/:name/image', async (req, res) => {
    await sendImage(req, res, { bytes: await read(req.params.name), type: 'image/jpeg', immutable: false });
  });
  router.post('/samples/:name/photo', refuseWhenBusy(services), async (req, res) => {
    const bytes = await read(String(req.params.name));
    const photo = await admitPhoto(services, visitorOf(res).ownerId, bytes);
    res.status(201).location(`/api/v1/photos/${photo.id}`).json(photo);
  });
  return router;
}
