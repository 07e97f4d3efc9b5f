import { cv, pointsToMat, withMats } from './cv.ts';
import type { Point } from './types.ts';

/** An outline that fills less of the rectangle round it has no clear sides. */
const LEAST_FILL = 0.78;

/**
 * How far cloth lies from level, by the sides of the smallest rectangle round its outline (rows or columns of
 * a swatch run along its sides, so nothing need be known of the stitches).
 *
 * @param outlinePx outline of the cloth, px
 * @returns degrees in (−45, 45], positive where level sides run down to the right; null where the outline is no rectangle
 *
 * @example
 * clothLeanDeg([{ x: 0, y: 0 }, { x: 90, y: 30 }, { x: 60, y: 120 }, { x: -30, y: 90 }]); // 18.4
 */
export function clothLeanDeg(outlinePx: readonly Point[]): number | null {
  if (outlinePx.length < 3) return null;
  return withMats((keep) => {
    const points = keep(pointsToMat(outlinePx));
    const { angle, size } = cv.minAreaRect(points) as {
      angle: number;
      size: { width: number; height: number };
    };
    const fill = (cv.contourArea(points) as number) / (size.width * size.height);
    if (!(fill >= LEAST_FILL)) return null;
    const turned = ((angle % 90) + 90) % 90;
    return turned > 45 ? turned - 90 : turned;
  });
}
