import type { GrayImage } from '../../types.ts';

/** Bilinear value at (x, y), px; NaN outside the picture. */
export function sampleGray(image: GrayImage, x: number, y: number): number {
  const ix = Math.floor(x);
  const iy = Math.floor(y);
  if (ix < 0 || iy < 0 || ix >= image.widthPx - 1 || iy >= image.heightPx - 1) return NaN;
  const fx = x - ix;
  const fy = y - iy;
  const i = iy * image.widthPx + ix;
  const d = image.data;
  const top = d[i]! + (d[i + 1]! - d[i]!) * fx;
  const below = d[i + image.widthPx]! + (d[i + image.widthPx + 1]! - d[i + image.widthPx]!) * fx;
  return top + (below - top) * fy;
}
