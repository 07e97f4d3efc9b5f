import type { LatticeFit } from './fitLattice.ts';
import { sineOfAxes } from './lattice/sineOfAxes.ts';

/**
 * The same lattice with its rows taken for columns of stitches and these for rows.
 *
 * @example
 * exchangeAxes(lattice).rowPhaseAt(x, y) === lattice.stitchPhaseAt(x, y); // true
 */
export function exchangeAxes(lattice: LatticeFit): LatticeFit {
  const { quality } = lattice;
  return {
    ...lattice,
    stitchPhaseAt: lattice.rowPhaseAt,
    rowPhaseAt: lattice.stitchPhaseAt,
    cellAt: (x, y) => {
      const cell = lattice.cellAt(x, y);
      const sine = sineOfAxes(cell);
      return {
        stitchPitchPx: cell.rowPitchPx / sine,
        rowPitchPx: cell.stitchPitchPx * sine,
        stitchAngleDeg: cell.rowAngleDeg,
        rowAngleDeg: cell.stitchAngleDeg,
      };
    },
    locate: (stitchPhase, rowPhase, from) => lattice.locate(rowPhase, stitchPhase, from),
    quality: {
      stitchAgreement: quality.rowAgreement,
      rowAgreement: quality.stitchAgreement,
      stitchResidualTurns: quality.rowResidualTurns,
      rowResidualTurns: quality.stitchResidualTurns,
      stitchAmplitude: quality.rowAmplitude,
      rowAmplitude: quality.stitchAmplitude,
      stitchRelativeUncertainty: quality.rowRelativeUncertainty,
      rowRelativeUncertainty: quality.stitchRelativeUncertainty,
      stitchDisagreement: quality.rowDisagreement,
      rowDisagreement: quality.stitchDisagreement,
      repeats: { stitches: quality.repeats.rows, rows: quality.repeats.stitches },
    },
    rivals: lattice.rivals.map((rival) => ({
      ...rival,
      stitchFactor: rival.rowFactor,
      rowFactor: rival.stitchFactor,
    })),
  };
}
