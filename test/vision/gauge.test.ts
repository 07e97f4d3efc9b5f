import { describe, expect, it } from 'vitest';
import { withFactors } from '../../vision/fitLattice.ts';
import { meanPitches } from '../../vision/gauge.ts';
import { measured } from '../../vision/measured.ts';
import { evenLattice } from './evenLattice.ts';

describe('meanPitches', () => {
  it('gives the pitches of an even lattice', () => {
    const mean = meanPitches(evenLattice({ stitchPitchPx: 12.5, rowPitchPx: 7.5 }));
    expect(mean.stitch.pitchPx).toBeCloseTo(12.5, 9);
    expect(mean.row.pitchPx).toBeCloseTo(7.5, 9);
  });

  it('averages counts per length, as EN 14971 counts, and not pitches', () => {
    // Half of the cloth has 10 px a stitch and half 15 px: 1/10 and 1/15 average to 1/12.
    const even = evenLattice();
    const uneven = {
      ...even,
      cellAt: (x: number, y: number) => ({ ...even.cellAt(x, y), stitchPitchPx: x < 100 ? 10 : 15 }),
    };
    expect(meanPitches(uneven).stitch.pitchPx).toBeCloseTo(12, 9);
  });

  it('lets places that were read clearly weigh more', () => {
    const even = evenLattice();
    const uneven = {
      ...even,
      places: even.places.map((p) => ({ ...p, trust: p.x < 100 ? 1 : 0.01 })),
      cellAt: (x: number, y: number) => ({ ...even.cellAt(x, y), rowPitchPx: x < 100 ? 8 : 16 }),
    };
    expect(meanPitches(uneven).row.pitchPx).toBeCloseTo(8, 0);
  });

  it('is never surer than the reader is exact, and less sure when waves fit badly', () => {
    const best = meanPitches(evenLattice()).stitch.relativeUncertainty;
    expect(best).toBeGreaterThan(0.002);
    expect(best).toBeLessThan(0.02);
    const loose = meanPitches(evenLattice({ quality: { stitchResidualTurns: 0.15 } })).stitch;
    const scattered = meanPitches(evenLattice({ quality: { stitchRelativeUncertainty: 0.02 } })).stitch;
    expect(loose.relativeUncertainty).toBeGreaterThan(best);
    expect(scattered.relativeUncertainty).toBeGreaterThan(0.02);
  });

  it('is surer of many stitches than of few', () => {
    const of = (stitches: number) =>
      meanPitches(evenLattice({ quality: { stitchResidualTurns: 0.1, repeats: { stitches, rows: 10 } } }))
        .stitch.relativeUncertainty;
    expect(of(6)).toBeGreaterThan(of(12));
    expect(of(12)).toBeGreaterThan(of(30));
  });

  it('halves the pitch when every reading was two', () => {
    const lattice = evenLattice();
    const twice = withFactors(lattice, { stitch: 1, row: 2 });
    expect(meanPitches(twice).row.pitchPx).toBeCloseTo(meanPitches(lattice).row.pitchPx / 2, 9);
    expect(meanPitches(twice).stitch.pitchPx).toBeCloseTo(meanPitches(lattice).stitch.pitchPx, 9);
    expect(twice.rowPhaseAt(60, 40) - twice.rowPhaseAt(60, 120)).toBeCloseTo(20, 9);
    const p = twice.locate(3, 7, { x: 0, y: 0 });
    expect(twice.stitchPhaseAt(p.x, p.y)).toBeCloseTo(3, 9);
    expect(twice.rowPhaseAt(p.x, p.y)).toBeCloseTo(7, 9);
    expect(twice.quality.repeats).toEqual({ stitches: 10, rows: 20 });
    // The reading that was not taken stays a rival: one row where two are counted now.
    expect(twice.rivals).toContainEqual(expect.objectContaining({ stitchFactor: 1, rowFactor: 2 }));
  });
});

describe('measured', () => {
  it('gives the normal 95 % interval: ± 1.96 standard uncertainties (JCGM 100:2008, 6.3)', () => {
    const m = measured(20, 0.2);
    expect(m.standardUncertainty).toBeCloseTo(0.2, 12);
    expect([m.low95, m.high95]).toEqual([expect.closeTo(19.608, 9), expect.closeTo(20.392, 9)]);
  });
});
