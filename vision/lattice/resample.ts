import { cv, floatMatToGray, grayToFloatMat, type Mat, withMats } from '../cv.ts';
import type { GrayImage } from '../types.ts';

/** A part of a picture at another size, and how its pixels relate to the picture's. */
export interface Tile {
  image: GrayImage;
  /** Picture pixel of the tile's pixel (0, 0). */
  leftPx: number;
  topPx: number;
  /** Tile pixels per picture pixel. */
  scale: number;
}

/**
 * Cuts a rectangle and resizes it by `scale`, averaging areas when it shrinks so that fine cloth does not
 * turn into moiré.
 *
 * @param rect in picture pixels; clipped to the picture
 * @param scale tile pixels per picture pixel
 */
export function cutTile(
  picture: GrayImage,
  rect: { left: number; top: number; width: number; height: number },
  scale: number,
): Tile {
  const left = Math.max(0, Math.floor(rect.left));
  const top = Math.max(0, Math.floor(rect.top));
  const right = Math.min(picture.widthPx, Math.ceil(rect.left + rect.width));
  const bottom = Math.min(picture.heightPx, Math.ceil(rect.top + rect.height));
  const cut: GrayImage = {
    widthPx: right - left,
    heightPx: bottom - top,
    data: new Float32Array((right - left) * (bottom - top)),
  };
  for (let y = top; y < bottom; y++) {
    const from = y * picture.widthPx + left;
    cut.data.set(picture.data.subarray(from, from + cut.widthPx), (y - top) * cut.widthPx);
  }
  return withMats((keep) => {
    const source = keep(grayToFloatMat(cut));
    const out = keep<Mat>(new cv.Mat());
    const size = new cv.Size(
      Math.max(16, Math.round(cut.widthPx * scale)),
      Math.max(16, Math.round(cut.heightPx * scale)),
    );
    cv.resize(source, out, size, 0, 0, scale < 1 ? cv.INTER_AREA : cv.INTER_CUBIC);
    const image = floatMatToGray(out);
    // The exact ratio after rounding to whole pixels (both axes agree to a fraction of a pixel).
    return { image, leftPx: left, topPx: top, scale: image.widthPx / cut.widthPx };
  });
}
