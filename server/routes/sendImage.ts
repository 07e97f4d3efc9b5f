import type { Request, Response } from 'express';
import sharp from 'sharp';
import { imageQuerySchema } from '../api/schemas.ts';

/**
 * Answers with a picture, shrunk when the request asks for a width.
 *
 * @param immutable the address always gives this picture
 */
export async function sendImage(
  req: Request,
  res: Response,
  image: { bytes: Uint8Array; type: 'image/jpeg' | 'image/png'; immutable: boolean },
): Promise<void> {
  const { widthPx } = imageQuerySchema.parse(req.query);
  let body = image.bytes;
  if (widthPx !== undefined) {
    const shrunk = sharp(image.bytes, { failOn: 'none' })
      .autoOrient()
      .resize({ width: widthPx, withoutEnlargement: true })
      .toColourspace('srgb');
    body = await (image.type === 'image/png' ? shrunk.png() : shrunk.jpeg({ quality: 80 })).toBuffer();
  }
  res.set('Cache-Control', image.immutable ? 'private, max-age=31536000, immutable' : 'private, no-cache');
  res.type(image.type).send(Buffer.from(body.buffer, body.byteOffset, body.byteLength));
}
