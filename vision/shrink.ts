import { cv, matToRgb, rgbToMat, type Mat, withMats } from './cv.ts';
import type { RgbImage } from './types.ts';

/**
 * A picture made smaller, every pixel the mean of those it replaces, so that its longest side is at most
 * `longestPx`; as it is when it is no larger.
 *
 * @returns the picture, and its pixels per pixel of the one given
 */
export function shrink(rgb: RgbImage, longestPx: number): { rgb: RgbImage; scale: number } {
  const scale = longestPx / Math.max(rgb.widthPx, rgb.heightPx);
  if (scale >= 1) return { rgb, scale: 1 };
  return withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const out = keep<Mat>(new cv.Mat());
    const size = new cv.Size(Math.round(rgb.widthPx * scale), Math.round(rgb.heightPx * scale));
    cv.resize(source, out, size, 0, 0, cv.INTER_AREA);
    const small = matToRgb(out);
    return { rgb: small, scale: small.widthPx / rgb.widthPx };
  });
}
