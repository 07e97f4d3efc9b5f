import { describe, expect, it } from 'vitest';
import { exchangeAxes } from '../../vision/exchangeAxes.ts';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { evenLattice } from './evenLattice.ts';

/** Columns that lean by 30°: the next stitch lies to the right, the next row up and to the right. */
function leaning(): LatticeFit {
  const even = evenLattice({
    stitchPitchPx: 10,
    rowPitchPx: 6,
    rivals: [{ stitchFactor: 2, rowFactor: 1, weight: 0.2 }],
    quality: { rowAmplitude: 0.4, stitchAmplitude: 0.9, rowRelativeUncertainty: 0.01 },
  });
  const lean = 6 * Math.tan(Math.PI / 6);
  return {
    ...even,
    stitchPhaseAt: (x, y) => (x + lean * (y / 6)) / 10,
    rowPhaseAt: (_x, y) => -y / 6,
    cellAt: () => ({ stitchPitchPx: 10, rowPitchPx: 6, stitchAngleDeg: 0, rowAngleDeg: -60 }),
    locate: (s, r) => ({ x: 10 * s + lean * r, y: -6 * r }),
  };
}

describe('exchangeAxes', () => {
  it('takes rows for columns: what was one row is one stitch, and lies where it lay', () => {
    const lattice = leaning();
    const other = exchangeAxes(lattice);
    const p = other.locate(3, 5, { x: 0, y: 0 });
    expect(p).toEqual(lattice.locate(5, 3, { x: 0, y: 0 }));
    expect(other.stitchPhaseAt(p.x, p.y)).toBeCloseTo(3, 9);
    expect(other.rowPhaseAt(p.x, p.y)).toBeCloseTo(5, 9);
    expect(other.quality.stitchAmplitude).toBe(0.4);
    expect(other.quality.stitchRelativeUncertainty).toBe(0.01);
    expect(other.rivals).toEqual([{ stitchFactor: 1, rowFactor: 2, weight: 0.2 }]);
  });

  it('measures width along the rows and height square to them, also where columns lean', () => {
    const lattice = leaning();
    const cell = exchangeAxes(lattice).cellAt(0, 0);
    // one step along what is a row now
    const step = lattice.locate(0, 1, { x: 0, y: 0 });
    expect(cell.stitchPitchPx).toBeCloseTo(Math.hypot(step.x, step.y), 9);
    // the area of a cell stays
    expect(cell.stitchPitchPx * cell.rowPitchPx).toBeCloseTo(60, 9);
    expect(cell.stitchAngleDeg).toBe(-60);
    const back = exchangeAxes(exchangeAxes(lattice)).cellAt(0, 0);
    expect(back.stitchPitchPx).toBeCloseTo(10, 9);
    expect(back.rowPitchPx).toBeCloseTo(6, 9);
  });
});
