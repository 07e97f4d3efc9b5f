import { cv, type Mat, pointsToMat, withMats } from '../cv.ts';
import type { Point } from '../types.ts';

/**
 * The smallest convex outline round some points.
 *
 * @example
 * convexHull([{ x: 0, y: 0 }, { x: 4, y: 0 }, { x: 1, y: 1 }, { x: 0, y: 4 }]).length; // 3
 */
export function convexHull(points: readonly Point[]): Point[] {
  return withMats((keep) => {
    const list = keep(pointsToMat(points));
    const hull = keep<Mat>(new cv.Mat());
    cv.convexHull(list, hull, false, true);
    const d = hull.data32F;
    return Array.from({ length: hull.rows }, (_, i) => ({ x: d[2 * i]!, y: d[2 * i + 1]! }));
  });
}
