import { randomUUID } from 'node:crypto';
import sharp from 'sharp';
import { VisionError } from '../../vision/errors.ts';
import type { Photo } from '../api/schemas.ts';
import type { Services } from '../services.ts';
import { requireRoom } from '../accounts/usage.ts';
import { StorageError } from '../storage/storageError.ts';
import { stripJpegMetadata } from './stripJpegMetadata.ts';
import { photoFromRow } from './photoFromRow.ts';

/**
 * Takes a photo in: checks it, drops its metadata, keeps it, and enters it in the database.
 * When this returns, the photo survives a crash.
 *
 * JPEG keeps its picture bit for bit; every other kind is decoded (in a measuring process) and kept as JPEG.
 *
 * @param sample the name of the sample that this is a copy of
 * @throws VisionError when it is no usable photo; StorageError or ProblemError when it cannot be kept
 */
export async function admitPhoto(
  services: Services,
  ownerId: string,
  bytes: Uint8Array,
  sample: string | null = null,
): Promise<Photo> {
  const { photos, database, config } = services;
  const kept = await preparePhoto(services, bytes);
  const { total } = await database.db
    .selectFrom('photos')
    .select(({ fn, lit }) => fn.coalesce(fn.sum<string>('bytes'), lit(0)).as('total'))
    .executeTakeFirstOrThrow();
  if (Number(total) + kept.bytes.length > config.photoQuotaBytes) throw new StorageError('photo-quota');
  await requireRoom(database.db, config, ownerId, kept.bytes.length);

  const key = await photos.put(kept.bytes);
  try {
    const row = await database.db
      .insertInto('photos')
      .values({
        id: randomUUID(),
        owner_id: ownerId,
        blob_key: key,
        width_px: kept.widthPx,
        height_px: kept.heightPx,
        bytes: kept.bytes.length,
        reference_blurred: false,
        sample,
      })
      .returningAll()
      .executeTakeFirstOrThrow();
    return photoFromRow(row);
  } catch (error) {
    await photos.remove(key);
    throw error;
  }
}

/**
 * Megapixels of a picture whose format is decoded as a whole: everything but a JPEG that is written line by line,
 * which shrinks while it is read. A few kilobytes can promise so much; a process holds up to 8 bytes for each pixel.
 * The largest pictures that phones write this way (HEIC) have 48.
 */
const MOST_MEGAPIXELS_AS_A_WHOLE = 50;

interface PreparedPhoto {
  bytes: Uint8Array;
  widthPx: number;
  heightPx: number;
}

async function preparePhoto({ vision, config }: Services, bytes: Uint8Array): Promise<PreparedPhoto> {
  const mostAsAWhole = Math.min(MOST_MEGAPIXELS_AS_A_WHOLE, config.largestPhotoMegapixels);
  const isJpeg = bytes[0] === 0xff && bytes[1] === 0xd8 && bytes[2] === 0xff;
  if (!isJpeg) return await vision.normalise(bytes, mostAsAWhole * 1e6);

  const stripped = stripJpegMetadata(bytes);
  if (!stripped) throw damaged();
  const meta = await sharp(stripped.bytes, { limitInputPixels: false, failOn: 'none' })
    .metadata()
    .catch((cause: unknown) => {
      throw damaged(cause);
    });
  const turned = stripped.orientation >= 5;
  const widthPx = turned ? meta.height : meta.width;
  const heightPx = turned ? meta.width : meta.height;
  const mostMegapixels = meta.isProgressive ? mostAsAWhole : config.largestPhotoMegapixels;
  if (widthPx * heightPx > mostMegapixels * 1e6) {
    throw new VisionError(
      'too-many-pixels',
      `This picture has ${Math.round((widthPx * heightPx) / 1e6)} megapixels; at most ${mostMegapixels} can be read.`,
      'Choose a smaller size in the camera, or shrink the picture.',
    );
  }
  return { bytes: stripped.bytes, widthPx, heightPx };
}

const damaged = (cause?: unknown): VisionError =>
  new VisionError(
    'damaged',
    'This picture is damaged: a part of it is missing or cannot be read.',
    'Copy the photo from the phone again, or take a new one.',
    { cause },
  );
