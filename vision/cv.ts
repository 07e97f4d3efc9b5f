import opencv from 'opencv-wasm';
import { copyPart } from './luma.ts';
import type { GrayImage, MaskImage, Point, RgbImage } from './types.ts';

/**
 * OpenCV (4.3, compiled to WebAssembly), loaded once per thread.
 *
 * Its objects live outside the garbage collector: whatever is made must be deleted. Work inside `withMats`
 * and hand every new object to `keep`; then nothing is left behind, also when something throws.
 */
export const { cv } = opencv;

interface Deletable {
  delete(): void;
}

/** The part of OpenCV's matrix that is used here; the package types everything as `any`. */
export interface Mat extends Deletable {
  readonly rows: number;
  readonly cols: number;
  /** Views into OpenCV's memory: read them at once, they go stale when that memory grows. */
  readonly data: Uint8Array;
  readonly data16S: Int16Array;
  readonly data32S: Int32Array;
  readonly data32F: Float32Array;
  readonly data64F: Float64Array;
  /** A window on the same data; deleted by the caller. */
  roi(rect: object): Mat;
}

export interface MatVector extends Deletable {
  size(): number;
  /** A new header on the same data; the caller deletes it. */
  get(index: number): Mat;
}

export type Keep = <T extends Deletable>(object: T) => T;

/**
 * Runs `use` and then deletes every object that was handed to `keep`, last one first.
 *
 * @returns what `use` returns; it must not be one of the kept objects
 * @example
 * const edges = withMats((keep) => {
 *   const src = keep(rgbToGrayMat(photo.rgb));
 *   const dst = keep<Mat>(new cv.Mat());
 *   cv.Canny(src, dst, 40, 120);
 *   return Uint8Array.from(dst.data);
 * });
 */
export function withMats<T>(use: (keep: Keep) => T): T {
  const kept: Deletable[] = [];
  try {
    return use((object) => {
      kept.push(object);
      return object;
    });
  } finally {
    for (const object of kept.reverse()) object.delete();
  }
}

/** A new CV_8UC1 matrix of a picture's luma, 0…255, rounded. The caller deletes it. */
export function rgbToGrayMat(rgb: RgbImage): Mat {
  return withMats((keep) => {
    const gray: Mat = new cv.Mat();
    cv.cvtColor(keep(rgbToMat(rgb)), gray, cv.COLOR_RGB2GRAY);
    return gray;
  });
}

/** A new CV_32FC1 matrix with the same values, 0…1. The caller deletes it. */
export function grayToFloatMat(gray: GrayImage): Mat {
  const mat: Mat = new cv.Mat(gray.heightPx, gray.widthPx, cv.CV_32FC1);
  copyPart(gray, { leftPx: 0, topPx: 0, widthPx: gray.widthPx, heightPx: gray.heightPx }, mat.data32F);
  return mat;
}

/** A copy of a CV_32FC1 matrix. */
export function floatMatToGray(mat: Mat): GrayImage {
  return { widthPx: mat.cols, heightPx: mat.rows, data: mat.data32F.slice() };
}

/** A new CV_8UC3 matrix in RGB order. The caller deletes it. */
export function rgbToMat(rgb: RgbImage): Mat {
  const mat: Mat = new cv.Mat(rgb.heightPx, rgb.widthPx, cv.CV_8UC3);
  mat.data.set(rgb.data);
  return mat;
}

/** A copy of a CV_8UC3 matrix in RGB order. */
export function matToRgb(mat: Mat): RgbImage {
  return { widthPx: mat.cols, heightPx: mat.rows, data: mat.data.slice() };
}

/** A new CV_32FC2 column of points, as OpenCV's contour functions take them. The caller deletes it. */
export function pointsToMat(points: readonly Point[]): Mat {
  return cv.matFromArray(
    points.length,
    1,
    cv.CV_32FC2,
    points.flatMap((p) => [p.x, p.y]),
  ) as Mat;
}

/** A copy of a CV_8UC1 matrix. */
export function matToMask(mat: Mat): MaskImage {
  return { widthPx: mat.cols, heightPx: mat.rows, data: mat.data.slice() };
}
