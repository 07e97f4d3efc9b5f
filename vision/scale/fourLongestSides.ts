import type { Point } from '../types.ts';
import { distance, intersect, isConvex, lineThrough, signedArea, type Quad } from './geometry.ts';

/**
 * The quadrilateral of a convex polygon's four longest sides, prolonged until they meet: a corner may be cut off or
 * rounded. Clockwise; null where they do not enclose anything.
 */
export function fourLongestSides(polygon: Point[]): Quad | null {
  if (polygon.length < 4) return null;
  const points = signedArea(polygon) < 0 ? [...polygon].reverse() : polygon;
  const longest = points
    .map((p, i) => ({ i, length: distance(p, points[(i + 1) % points.length]!) }))
    .sort((p, q) => q.length - p.length)
    .slice(0, 4)
    .sort((p, q) => p.i - q.i);
  const lines = longest.map(({ i }) => lineThrough(points[i]!, points[(i + 1) % points.length]!));
  const corners = lines.map((line, i) => intersect(lines[(i + 3) % 4]!, line));
  if (corners.some((c) => c === null) || !isConvex(corners as Quad)) return null;
  return corners as Quad;
}
