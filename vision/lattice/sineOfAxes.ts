import type { LatticeCell } from '../fitLattice.ts';

/** Axes that lie closer together than this (sine of the angle between them) are no lattice. */
const LEAST_SINE = 0.3;

/**
 * Sine of the angle between rows and columns of stitches: a row's height is square to the rows, and its step along
 * a column that leans is longer by so much.
 *
 * @example
 * cell.rowPitchPx / sineOfAxes(cell); // along the column of stitches, px
 */
export function sineOfAxes({ stitchAngleDeg, rowAngleDeg }: LatticeCell): number {
  return Math.max(LEAST_SINE, Math.abs(Math.sin(((rowAngleDeg - stitchAngleDeg) * Math.PI) / 180)));
}
