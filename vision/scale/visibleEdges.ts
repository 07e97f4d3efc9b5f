import type { Point } from '../types.ts';
import type { EdgePoint } from './edgeFit.ts';
import { centroid, distance, mix, type Quad } from './geometry.ts';

/** How far inside the outline a place is asked about, share of the shorter side: clear of what blurs into it. */
const INSIDE = 0.05;
/** Fewest places that say where a side runs. */
const LEAST = 3;

/**
 * Edge points without those where cloth lies over the thing: what is seen there is the cloth's own edge, and a side that
 * followed it half of its way had leaned the whole plane by 17° (development scene).
 *
 * @param isCovered whether cloth lies over a place within the outline, decoded px
 * @returns all of them where fewer than three sides would be left
 */
export function visibleEdges(
  edges: readonly EdgePoint[],
  quad: Quad,
  isCovered: (p: Point) => boolean,
): EdgePoint[] {
  const middle = centroid(quad);
  const shorter = Math.min(distance(quad[0], quad[1]), distance(quad[1], quad[2]));
  const visible = edges.filter(({ point }) => {
    const inward = Math.min(1, (INSIDE * shorter) / (distance(point, middle) || 1));
    return !isCovered(mix(point, middle, inward));
  });
  const told = [0, 1, 2, 3].filter((side) => visible.filter((e) => e.side === side).length >= LEAST);
  return told.length >= 3 ? visible.filter((e) => told.includes(e.side)) : [...edges];
}
