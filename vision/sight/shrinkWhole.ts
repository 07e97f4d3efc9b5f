import sharp from 'sharp';
import type { RgbImage } from '../types.ts';

/**
 * A whole photo made small, each pixel a smooth mean of those about it, so that its longest side is `longestPx`; as it
 * is when it is no larger. By libvips: OpenCV's area mean takes three times the processor time in WebAssembly and
 * a copy of the photo; the two differ by one level of 255 on average.
 *
 * @returns the picture, and its pixels per pixel of the one given
 * @example
 * const { rgb, scale } = await shrinkWhole(photo.rgb, 384);
 * const inPhoto = { x: x / scale, y: y / scale };
 */
export async function shrinkWhole(
  rgb: RgbImage,
  longestPx: number,
): Promise<{ rgb: RgbImage; scale: number }> {
  const scale = longestPx / Math.max(rgb.widthPx, rgb.heightPx);
  if (scale >= 1) return { rgb, scale: 1 };
  const { buffer, byteOffset, byteLength } = rgb.data;
  const raw = { width: rgb.widthPx, height: rgb.heightPx, channels: 3 as const };
  const width = Math.round(rgb.widthPx * scale);
  const height = Math.max(1, Math.round(rgb.heightPx * scale));
  const data = await sharp(Buffer.from(buffer, byteOffset, byteLength), { raw })
    .resize({ width, height, fit: 'fill', kernel: 'cubic' })
    .raw()
    .toBuffer();
  return {
    rgb: { widthPx: width, heightPx: height, data: new Uint8Array(data) },
    scale: width / rgb.widthPx,
  };
}
