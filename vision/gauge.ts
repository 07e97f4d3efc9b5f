import type { LatticeFit } from './fitLattice.ts';

/** Relative standard uncertainties of one axis of the lattice, before the scale's own. */
export interface AxisGauge {
  /** Mean pitch over the cloth, picture pixels. */
  pitchPx: number;
  relativeUncertainty: number;
}

/**
 * What remains when the waves fit perfectly: the reader's boundaries are not exactly where a hand's
 * stitches divide. Found on development photos (see DEVELOPERS.md, "Calibration").
 */
const FLOOR = 0.009;
/** The fit's own uncertainty takes nodes as more independent than they are; ditto. */
const FIT_FACTOR = 1.6;

/**
 * Mean stitch width and row height over the cloth, in picture pixels, with their uncertainties.
 *
 * Counted as EN 14971 asks: at many separate places, the mean reported. The mean is of counts per length
 * (not of pitches), weighted by how clearly each place was read.
 */
export function meanPitches(lattice: LatticeFit): { stitch: AxisGauge; row: AxisGauge } {
  let sumTrust = 0;
  let stitches = 0;
  let rows = 0;
  for (const place of lattice.places) {
    const cell = lattice.cellAt(place.x, place.y);
    sumTrust += place.trust;
    stitches += place.trust / cell.stitchPitchPx;
    rows += place.trust / cell.rowPitchPx;
  }
  const { quality } = lattice;
  const uncertainty = (fit: number, residual: number, repeats: number) =>
    // Either end of the counted stretch can be off by a share of a stitch.
    Math.hypot(FLOOR, FIT_FACTOR * fit, (0.5 * residual) / Math.max(2, repeats));
  return {
    stitch: {
      pitchPx: sumTrust / stitches,
      relativeUncertainty: uncertainty(
        quality.stitchRelativeUncertainty,
        quality.stitchResidualTurns,
        quality.repeats.stitches,
      ),
    },
    row: {
      pitchPx: sumTrust / rows,
      relativeUncertainty: uncertainty(
        quality.rowRelativeUncertainty,
        quality.rowResidualTurns,
        quality.repeats.rows,
      ),
    },
  };
}
