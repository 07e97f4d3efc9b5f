import type { LatticeFit } from './fitLattice.ts';
import type { meanPitches } from './gauge.ts';
import { sineOfAxes } from './lattice/sineOfAxes.ts';
import type { PixelLattice } from './measurement.ts';
import type { Point } from './types.ts';

/** The lattice at the cloth's centre as it lies in the photo, perspective included. */
export function pixelLattice(
  lattice: LatticeFit,
  mean: ReturnType<typeof meanPitches>,
  centre: Point,
  toPhoto: (p: Point) => Point,
): PixelLattice {
  const cell = lattice.cellAt(centre.x, centre.y);
  const step = (angleDeg: number, length: number) => {
    const a = (angleDeg * Math.PI) / 180;
    const from = toPhoto({
      x: centre.x - (Math.cos(a) * length) / 2,
      y: centre.y - (Math.sin(a) * length) / 2,
    });
    const to = toPhoto({
      x: centre.x + (Math.cos(a) * length) / 2,
      y: centre.y + (Math.sin(a) * length) / 2,
    });
    return { x: to.x - from.x, y: to.y - from.y };
  };
  const stitch = step(cell.stitchAngleDeg, mean.stitch.pitchPx);
  const row = step(cell.rowAngleDeg, mean.row.pitchPx / sineOfAxes(cell));
  const stitchPitchPx = Math.hypot(stitch.x, stitch.y);
  const rowPitchPx = Math.abs(stitch.x * row.y - stitch.y * row.x) / stitchPitchPx;
  const degrees = (v: Point) => (Math.atan2(v.y, v.x) * 180) / Math.PI;
  return {
    stitchPitchPx,
    rowPitchPx,
    stitchAngleDeg: degrees(stitch),
    rowAngleDeg: degrees(row),
    standardUncertaintyPx: {
      stitchPitch: stitchPitchPx * mean.stitch.relativeUncertainty,
      rowPitch: rowPitchPx * mean.row.relativeUncertainty,
    },
  };
}
