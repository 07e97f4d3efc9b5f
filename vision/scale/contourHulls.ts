import { cv, type Keep, type Mat, type MatVector } from '../cv.ts';
import type { Point } from '../types.ts';

/** Which contours count, and how closely their hulls are followed. */
export interface ContourHullOptions {
  leastAreaPx: number;
  mostAreaPx?: number;
  /** Least share of its hull that a contour fills. */
  leastFill?: number;
  /** How far a hull may be simplified, as a share of its length. */
  tolerance: number;
}

/** Simplified convex hulls of OpenCV's contours, with the area that each contour encloses. */
export function contourHulls(
  contours: MatVector,
  { leastAreaPx, mostAreaPx = Infinity, leastFill = 0, tolerance }: ContourHullOptions,
  keep: Keep,
): { points: Point[]; areaPx: number }[] {
  const hulls: { points: Point[]; areaPx: number }[] = [];
  const hull = keep<Mat>(new cv.Mat());
  const simple = keep<Mat>(new cv.Mat());
  const count = contours.size();
  for (let k = 0; k < count; k++) {
    const contour = contours.get(k);
    const areaPx: number = cv.contourArea(contour);
    const isOfSize = areaPx >= leastAreaPx && areaPx <= mostAreaPx;
    if (isOfSize) cv.convexHull(contour, hull);
    contour.delete();
    if (!isOfSize || areaPx < leastFill * cv.contourArea(hull)) continue;
    cv.approxPolyDP(hull, simple, tolerance * cv.arcLength(hull, true), true);
    const xy = simple.data32S;
    const points = Array.from({ length: simple.rows }, (_, i) => ({ x: xy[2 * i]!, y: xy[2 * i + 1]! }));
    hulls.push({ points, areaPx });
  }
  return hulls;
}
