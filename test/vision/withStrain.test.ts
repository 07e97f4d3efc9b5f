import { describe, expect, it } from 'vitest';
import { poolStrain } from '../../vision/lattice/poolStrain.ts';
import { withStrain } from '../../vision/withStrain.ts';

const axis = { pitchPx: 10, relativeUncertainty: 0.011 };
const mean = { stitch: axis, row: axis };
const none = { log: 0, standardUncertainty: 0.006 };

describe('withStrain', () => {
  it('takes the mean of both, each as it is sure', () => {
    const row = { log: 0.02, standardUncertainty: 0.0125 };
    const together = withStrain(mean, { stitches: 20, rows: 10.4 }, { stitch: none, row });
    // 0.13 turns of 10.4 rows are 0.0125, too.
    expect(together.row.pitchPx).toBeCloseTo(10 * Math.exp(-0.01), 9);
    // Mean of two alike (JCGM 100:2008, 5.1.2), times Birge's ratio.
    expect(together.row.relativeUncertainty).toBeCloseTo(
      Math.hypot(0.011, (0.0125 / Math.SQRT2) * (0.02 / Math.hypot(0.0125, 0.0125))),
      9,
    );
    expect(together.stitch.pitchPx).toBe(10);
  });

  it('hardly heeds it where hundreds of rows say what their pitch is', () => {
    const row = { log: 0.01, standardUncertainty: 0.006 };
    const { row: many } = withStrain(mean, { stitches: 20, rows: 100 }, { stitch: none, row });
    expect(Math.abs(many.pitchPx / 10 - 1)).toBeLessThan(0.0006);
  });

  it('is not sure where the two are far apart', () => {
    const row = { log: 0.08, standardUncertainty: 0.008 };
    const { row: open } = withStrain(mean, { stitches: 20, rows: 13 }, { stitch: none, row });
    expect(open.relativeUncertainty).toBeGreaterThan(0.035);
  });
});

describe('poolStrain', () => {
  const window = (stitches: number, rows: number, scale: number) => [
    stitches,
    rows,
    Math.log(scale),
    Math.log(scale),
  ];

  it('weighs windows by how sure each is', () => {
    const { stitch } = poolStrain(Float32Array.from([...window(0.01, 0, 0.01), ...window(0.05, 0, 0.1)]));
    expect(stitch.log).toBeCloseTo((0.01 * 100 + 0.05) / 101, 4);
    expect(stitch.standardUncertainty).toBeGreaterThan(0.0135);
  });

  it('is as unsure as windows disagree', () => {
    const { row } = poolStrain(Float32Array.from([...window(0, 0.1, 0.005), ...window(0, -0.1, 0.005)]));
    expect(row.log).toBeCloseTo(0, 6);
    expect(row.standardUncertainty).toBeCloseTo(0.1, 3);
  });
});
