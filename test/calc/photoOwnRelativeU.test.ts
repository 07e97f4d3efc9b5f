import { describe, expect, it } from 'vitest';
import { photoOwnRelativeU, READER_RELATIVE_U } from '../../calc/index.ts';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { meanPitches } from '../../vision/gauge.ts';

describe('what one photo of a piece does not share with the others', () => {
  it('is what its gauge claims beyond the floor that the reader sets for all of them', () => {
    const perfect = {
      places: [{ x: 0, y: 0, trust: 1 }],
      cellAt: () => ({ stitchPitchPx: 30, rowPitchPx: 20 }),
      quality: {
        stitchRelativeUncertainty: 0,
        stitchResidualTurns: 0,
        rowRelativeUncertainty: 0,
        rowResidualTurns: 0,
        repeats: { stitches: 20, rows: 20 },
      },
    } as unknown as LatticeFit;
    expect(meanPitches(perfect).stitch.relativeUncertainty).toBeCloseTo(READER_RELATIVE_U, 6);
  });

  it('never is nothing, and nearly all of it where the scale is poor', () => {
    const own = (relative: number) => photoOwnRelativeU({ value: 20, standardUncertainty: 20 * relative });
    expect(own(0.005)).toBeCloseTo(0.002, 6);
    expect(own(READER_RELATIVE_U)).toBeCloseTo(0.002, 6);
    expect(own(0.013)).toBeGreaterThan(0.006);
    expect(own(0.05)).toBeCloseTo(0.05, 2);
  });
});
