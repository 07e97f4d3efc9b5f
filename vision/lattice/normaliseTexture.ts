import { cv, grayToFloatMat, type Mat, withMats } from '../cv.ts';
import type { GrayImage } from '../types.ts';

/** A picture of which only texture is left. */
export interface Texture extends GrayImage {
  /** How strong the texture was: the standard deviation of luma about each pixel, same size. */
  contrast: Float32Array;
}

/**
 * Takes slow light and local contrast out of a picture, so that only texture is left.
 *
 * Mean and variance come from a box passed twice (a triangle), which at the reader's working scale is about two
 * stitches; the same operation, in the same order, is applied in training.
 *
 * @param image any size
 * @param boxPx side of the box, odd
 * @returns same size; (value − local mean) ÷ local standard deviation, clamped to ±4
 *
 * @example normaliseTexture(gray).data.length === gray.data.length
 */
export function normaliseTexture(image: GrayImage, boxPx = 25): Texture {
  const { widthPx, heightPx } = image;
  return withMats((keep) => {
    const size = new cv.Size(boxPx, boxPx);
    const anchor = new cv.Point(-1, -1);
    const smooth = (mat: Mat) => {
      const once = keep<Mat>(new cv.Mat());
      const twice = keep<Mat>(new cv.Mat());
      cv.blur(mat, once, size, anchor, cv.BORDER_REPLICATE);
      cv.blur(once, twice, size, anchor, cv.BORDER_REPLICATE);
      return twice;
    };
    const source = keep(grayToFloatMat(image));
    const mean = smooth(source);
    const centred = keep<Mat>(new cv.Mat());
    cv.subtract(source, mean, centred);
    const squared = keep<Mat>(new cv.Mat());
    cv.multiply(centred, centred, squared);
    const variance = smooth(squared);
    const contrast = rootOf(variance.data32F);
    return { widthPx, heightPx, data: standardised(centred.data32F, variance.data32F), contrast };
  });
}

function standardised(centred: Float32Array, variance: Float32Array): Float32Array {
  const out = new Float32Array(centred.length);
  for (let i = 0; i < out.length; i++) {
    const z = centred[i] / Math.sqrt(variance[i] + 2e-5);
    out[i] = z > 4 ? 4 : z < -4 ? -4 : z;
  }
  return out;
}

function rootOf(variance: Float32Array): Float32Array {
  const out = new Float32Array(variance.length);
  for (let i = 0; i < out.length; i++) out[i] = Math.sqrt(variance[i]);
  return out;
}
