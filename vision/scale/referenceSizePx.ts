import type { Scale } from '../types.ts';
import { centroid, distance } from './geometry.ts';

/** How large the reference is in the picture, decoded px: twice the way from its middle to its farthest corner. */
export function referenceSizePx({ outlinePx }: Pick<Scale, 'outlinePx'>): number {
  const middle = centroid(outlinePx);
  return Math.max(1, ...outlinePx.map((p) => 2 * distance(p, middle)));
}
