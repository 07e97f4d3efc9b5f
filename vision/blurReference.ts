import sharp from 'sharp';
import type { Point } from './types.ts';

/**
 * The photo with the reference's face made unreadable, as an upright JPEG without EXIF: place, time and serial
 * numbers are dropped, and so is whatever is printed on the card.
 *
 * @param bytes the photo file
 * @param outlinePx the reference's outline in original upright pixels
 * @example
 * const safe = await blurReference(bytes, measurement.scale.outlinePx);
 */
export async function blurReference(bytes: Uint8Array, outlinePx: readonly Point[]): Promise<Uint8Array> {
  const { data, info } = await sharp(bytes)
    .autoOrient()
    .flatten({ background: '#ffffff' })
    .toColourspace('srgb')
    .toBuffer({ resolveWithObject: true });
  const { width, height } = info;
  const xs = outlinePx.map((p) => Math.min(width - 1, Math.max(0, p.x)));
  const ys = outlinePx.map((p) => Math.min(height - 1, Math.max(0, p.y)));
  const left = Math.floor(Math.min(...xs));
  const top = Math.floor(Math.min(...ys));
  const across = Math.ceil(Math.max(...xs)) - left + 1;
  const down = Math.ceil(Math.max(...ys)) - top + 1;
  let picture = sharp(data);
  if (outlinePx.length >= 3 && across > 2 && down > 2) {
    // Averaged to a dozen cells first: a blur alone can be undone.
    const cells = await sharp(data)
      .extract({ left, top, width: across, height: down })
      .resize(12, 12, { fit: 'fill', kernel: 'mitchell' })
      .png()
      .toBuffer();
    const points = outlinePx.map((p) => `${p.x - left},${p.y - top}`).join(' ');
    const mask = Buffer.from(
      `<svg xmlns="http://www.w3.org/2000/svg" width="${across}" height="${down}"><polygon points="${points}" fill="#fff"/></svg>`,
    );
    const face = await sharp(cells)
      .resize(across, down, { fit: 'fill', kernel: 'cubic' })
      .ensureAlpha()
      .composite([{ input: mask, blend: 'dest-in' }])
      .png()
      .toBuffer();
    picture = picture.composite([{ input: face, left, top }]);
  }
  return new Uint8Array(await picture.jpeg({ quality: 90 }).toBuffer());
}
