import { describe, expect, it } from 'vitest';
import { asExpected, likelyAsExpected } from '../../vision/expectedGauge.ts';
import { octaveOdds } from './octaveOdds.ts';

const MEDIUM = { low: 10.8, high: 13.8 };

describe('likelyAsExpected', () => {
  it('is even within the range, thins out beside it, and never rules anything out', () => {
    expect(likelyAsExpected(10.8, MEDIUM)).toBe(1);
    expect(likelyAsExpected(13, MEDIUM)).toBe(1);
    expect(likelyAsExpected(13.8 * Math.exp(0.2), MEDIUM)).toBeCloseTo(Math.exp(-0.5), 9);
    expect(likelyAsExpected(10.8 / Math.exp(0.2), MEDIUM)).toBeCloseTo(Math.exp(-0.5), 9);
    expect(likelyAsExpected(50, MEDIUM)).toBe(0.02);
  });
});

describe('asExpected', () => {
  it('settles half or twice the stitches, and leaves rows as they were', () => {
    const open = octaveOdds(0.5, [
      { stitch: 2, row: 1, weight: 0.3 },
      { stitch: 1, row: 2, weight: 0.2 },
    ]);
    const { ways } = asExpected(open, 13, MEDIUM);
    expect(ways[0].weight).toBeCloseTo(0.5 / 0.706, 9);
    expect(ways[1]).toMatchObject({ stitch: 1, row: 2 });
    expect(ways[1]!.weight / ways[0].weight).toBeCloseTo(0.4, 9);
    expect(ways.find(({ stitch, row }) => stitch === 2 && row === 1)!.weight).toBeCloseTo(0.006 / 0.706, 9);
  });

  it('turns to twice the stitches where those are usual', () => {
    const open = octaveOdds(0.7, [{ stitch: 2, row: 1, weight: 0.3 }]);
    const { ways } = asExpected(open, 6, MEDIUM);
    expect(ways[1]).toMatchObject({ stitch: 2, row: 1 });
    expect(ways[1]!.weight).toBeGreaterThan(0.9);
  });

  it('finds another lattice likelier where neither way is usual', () => {
    const { other } = asExpected(octaveOdds(0.9), 30, MEDIUM);
    expect(other).toBeGreaterThan(0.8);
  });
});
