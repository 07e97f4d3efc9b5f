import sharp from 'sharp';
import type { Measurement } from '../../vision/measurement.ts';
import type { Point } from '../../vision/types.ts';

/** Blur radius as a share of the reference's shorter side: print is gone, the card's colour stays. */
const BLUR_SHARE = 0.08;
/** The outermost part is left sharp, because the scale is read off these edges. */
const KEPT_EDGE_SHARE = 0.08;
const QUALITY = 92;

/**
 * The photo with the face of its card or paper made unreadable: names and numbers on it are nobody's business.
 * Rulers, tapes and our own sheet hold nothing private and stay as they are.
 *
 * @param bytes a kept photo (JPEG)
 * @returns JPEG bytes, turned upright; the same bytes when there is nothing to hide
 */
export async function hideReference(bytes: Uint8Array, { scale }: Measurement): Promise<Uint8Array> {
  if (!scale || (scale.kind !== 'card' && scale.kind !== 'paper') || scale.outlinePx.length < 3) return bytes;
  const upright = await sharp(bytes)
    .autoOrient()
    .toColourspace('srgb')
    .removeAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = upright.info;
  const face = shrinkTowardsCentre(scale.outlinePx, 1 - 2 * KEPT_EDGE_SHARE);
  const left = clamp(Math.floor(Math.min(...face.map(({ x }) => x))), 0, width - 1);
  const top = clamp(Math.floor(Math.min(...face.map(({ y }) => y))), 0, height - 1);
  const right = clamp(Math.ceil(Math.max(...face.map(({ x }) => x))), left + 1, width);
  const bottom = clamp(Math.ceil(Math.max(...face.map(({ y }) => y))), top + 1, height);
  const area = { left, top, width: right - left, height: bottom - top };

  const raw = { raw: { width, height, channels } };
  const mask = Buffer.from(
    `<svg xmlns="http://www.w3.org/2000/svg" width="${area.width}" height="${area.height}"><polygon points="${face
      .map(({ x, y }) => `${x - left},${y - top}`)
      .join(' ')}"/></svg>`,
  );
  const blurred = await sharp(upright.data, raw)
    .extract(area)
    .blur(Math.max(1, BLUR_SHARE * Math.min(area.width, area.height)))
    .png()
    .toBuffer();
  const patch = await sharp(blurred)
    .ensureAlpha()
    .composite([{ input: mask, blend: 'dest-in' }])
    .png()
    .toBuffer();
  return await sharp(upright.data, raw)
    .composite([{ input: patch, left, top }])
    .jpeg({ quality: QUALITY, chromaSubsampling: '4:4:4' })
    .toBuffer();
}

function shrinkTowardsCentre(outline: Point[], factor: number): Point[] {
  const x0 = outline.reduce((sum, { x }) => sum + x, 0) / outline.length;
  const y0 = outline.reduce((sum, { y }) => sum + y, 0) / outline.length;
  return outline.map(({ x, y }) => ({ x: x0 + factor * (x - x0), y: y0 + factor * (y - y0) }));
}

const clamp = (value: number, low: number, high: number): number => Math.min(Math.max(value, low), high);
