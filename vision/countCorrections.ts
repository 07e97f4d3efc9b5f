import { badOption } from './badOption.ts';
import type { LatticeFit } from './fitLattice.ts';
import type { CountCorrection } from './measurement.ts';
import type { DecodedPhoto, Point } from './types.ts';

/** What the maker counted, with its marks in pixels of the flat picture. */
export type FlatCorrection = Omit<CountCorrection, 'pointsPx'> & { pointsPx: Point[] };

/** @throws VisionError when a count or a mark cannot be meant */
export function checkCorrections(corrections: CountCorrection[], photo: DecodedPhoto) {
  for (const { count, pointsPx } of corrections) {
    if (!(count > 0) || !Number.isFinite(count)) {
      throw badOption('count-not-positive');
    }
    const inside = (p: Point) =>
      p.x >= 0 && p.y >= 0 && p.x <= photo.originalWidthPx && p.y <= photo.originalHeightPx;
    if (!pointsPx.every(inside)) {
      throw badOption('mark-outside');
    }
    // Less than a pixel for each stitch cannot have been counted.
    if (Math.hypot(pointsPx[0].x - pointsPx[1].x, pointsPx[0].y - pointsPx[1].y) < Math.max(10, count)) {
      throw badOption('marks-too-close', { count });
    }
  }
}

/** What the pitches should be near, from what was counted between two marks. */
export function expectedFrom(corrections: FlatCorrection[]) {
  const expected: { stitchPitchPx?: number; rowPitchPx?: number } = {};
  for (const { axis, count, pointsPx } of corrections) {
    const pitch = Math.hypot(pointsPx[0].x - pointsPx[1].x, pointsPx[0].y - pointsPx[1].y) / count;
    if (axis === 'stitches') expected.stitchPitchPx = pitch;
    else expected.rowPitchPx = pitch;
  }
  return expected;
}

/** What makes the lattice count as the maker counted, when following her pitch did not already do so. */
export function factorToCount(
  lattice: LatticeFit,
  corrections: FlatCorrection[],
): { stitch: number; row: number } {
  let factor = { stitch: 1, row: 1 };
  for (const { axis, count, pointsPx } of corrections) {
    const phase = axis === 'stitches' ? lattice.stitchPhaseAt : lattice.rowPhaseAt;
    const seen = Math.abs(phase(pointsPx[1].x, pointsPx[1].y) - phase(pointsPx[0].x, pointsPx[0].y));
    // Marks are set to about half a stitch; within that the lattice knows better.
    if (seen < 0.5 || Math.abs(seen - count) < 0.75) continue;
    factor = axis === 'stitches' ? { ...factor, stitch: count / seen } : { ...factor, row: count / seen };
  }
  return factor;
}
