import { cv, floatMatToGray, grayToFloatMat, type Mat, withMats } from '../cv.ts';
import { copyPart } from '../luma.ts';
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

/** A rectangle of a picture, picture pixels. */
export interface Rect {
  left: number;
  top: number;
  width: number;
  height: number;
}

/**
 * Cuts a rectangle and resizes it by `scale`, averaging areas when it shrinks so that fine cloth does not
 * turn into moiré.
 *
 * @param rect in picture pixels; clipped to the picture
 * @param scale tile pixels per picture pixel
 */
export function cutTile(picture: GrayImage, rect: Rect, scale: number): Tile {
  const left = Math.max(0, Math.floor(rect.left));
  const top = Math.max(0, Math.floor(rect.top));
  const right = Math.min(picture.widthPx, Math.ceil(rect.left + rect.width));
  const bottom = Math.min(picture.heightPx, Math.ceil(rect.top + rect.height));
  const [widthPx, heightPx] = [right - left, bottom - top];
  return withMats((keep) => {
    const source = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_32FC1));
    copyPart(picture, { leftPx: left, topPx: top, widthPx, heightPx }, source.data32F);
    const out = keep<Mat>(new cv.Mat());
    const size = new cv.Size(
      Math.max(16, Math.round(widthPx * scale)),
      Math.max(16, Math.round(heightPx * scale)),
    );
    cv.resize(source, out, size, 0, 0, scale < 1 ? cv.INTER_AREA : cv.INTER_CUBIC);
    const image = floatMatToGray(out);
    // The exact ratio after rounding to whole pixels (both axes agree to a fraction of a pixel).
    return { image, leftPx: left, topPx: top, scale: image.widthPx / widthPx };
  });
}

/**
 * A tile of the same part at half the size, or null where its sides are odd. Means of means are means, so it is the
 * tile that `cutTile` would cut, without reading the picture again.
 */
export function halfTile({ image, leftPx, topPx, scale }: Tile): Tile | null {
  const { widthPx, heightPx } = image;
  if (widthPx % 2 !== 0 || heightPx % 2 !== 0 || Math.min(widthPx, heightPx) < 32) return null;
  return withMats((keep) => {
    const out = keep<Mat>(new cv.Mat());
    const size = new cv.Size(widthPx / 2, heightPx / 2);
    cv.resize(keep(grayToFloatMat(image)), out, size, 0, 0, cv.INTER_AREA);
    return { image: floatMatToGray(out), leftPx, topPx, scale: scale / 2 };
  });
}
