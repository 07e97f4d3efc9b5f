import type { Point, Scale } from '../types.ts';
import { centroid, distance } from './geometry.ts';
import { referenceSizePx } from './referenceSizePx.ts';

/**
 * Relative standard uncertainty of a scale at a place: it grows with the distance from the reference.
 *
 * @param at decoded px
 * @example
 * scaleUncertaintyAt(scale, { x: 1500, y: 900 }); // 0.004
 */
export function scaleUncertaintyAt(scale: Scale, at: Point): number {
  const lengths = distance(at, centroid(scale.outlinePx)) / referenceSizePx(scale);
  return Math.hypot(scale.relativeUncertainty, scale.relativeUncertaintyPerReferenceLength * lengths);
}
