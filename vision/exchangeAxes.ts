import type { LatticeFit } from './fitLattice.ts';

/** Axes that lie closer together than this (sine of the angle between them) are no lattice. */
const LEAST_SINE = 0.3;

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
      const { stitchPitchPx, rowPitchPx, stitchAngleDeg, rowAngleDeg } = lattice.cellAt(x, y);
      // A row's height is square to the rows, a stitch's width lies along them.
      const sine = Math.max(LEAST_SINE, Math.abs(Math.sin(((rowAngleDeg - stitchAngleDeg) * Math.PI) / 180)));
      return {
        stitchPitchPx: rowPitchPx / sine,
        rowPitchPx: stitchPitchPx * sine,
        stitchAngleDeg: rowAngleDeg,
        rowAngleDeg: stitchAngleDeg,
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
