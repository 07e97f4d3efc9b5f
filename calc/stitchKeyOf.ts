import type { StitchKey } from './stitches.ts';

/**
 * The listed stitch that a plan's stitch is, or that a maker's own starts from.
 *
 * @example
 * stitchKeyOf('dc'); // 'dc'
 * stitchKeyOf({ like: 'hdc' }); // 'hdc'
 */
export function stitchKeyOf(stitch: StitchKey | { like: StitchKey }): StitchKey {
  return typeof stitch === 'string' ? stitch : stitch.like;
}
