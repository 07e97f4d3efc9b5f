import { describe, expect, it } from 'vitest';
import { asPlanned, likelyAsPlanned, plannedPitches } from '../../vision/plannedGauge.ts';
import { octaveOdds } from './octaveOdds.ts';

const PLANNED = { stitchesPer10cm: 14, rowsPer10cm: 20 };

describe('plannedPitches', () => {
  it('are what the plan makes of a millimetre, in pixels', () => {
    const { stitchPitchPx, rowPitchPx } = plannedPitches(PLANNED, 2.8);
    expect(stitchPitchPx).toBeCloseTo(20, 9);
    expect(rowPitchPx).toBeCloseTo(14, 9);
  });
});

describe('likelyAsPlanned', () => {
  const at = (stitch: number, row: number, pxPerMm: number | null = 2.8) =>
    likelyAsPlanned({ stitchPitchPx: stitch, rowPitchPx: row }, PLANNED, pxPerMm);

  it('hardly changes about the plan, so that it draws nothing towards itself, and thins out beside that', () => {
    expect(at(20, 14)).toBe(1);
    expect(at(20 * 1.07, 14 * 1.07)).toBeGreaterThan(0.97);
    expect(at(20 / 1.07, 14)).toBeGreaterThan(0.97);
    // a slip of a seventh, and a hook a size larger
    expect(at(20, 14 * Math.exp(0.14))).toBeLessThan(0.1);
    expect(at(20, 14 * Math.exp(0.14))).toBeGreaterThan(0.05);
    expect(at(20 * 1.1, 14 * 1.1)).toBeGreaterThan(0.5);
  });

  it('hardly allows halves and doubles, and rules nothing out', () => {
    expect(at(40, 14)).toBe(0.002);
    expect(at(20, 7)).toBe(0.002);
  });

  it('holds proportions alone against the plan where no scale is known', () => {
    expect(at(200, 140, null)).toBe(1);
    expect(at(140, 200, null)).toBe(0.002);
  });
});

describe('asPlanned', () => {
  const read = { stitchPitchPx: 20, rowPitchPx: 14 };

  it('settles what is open between a count and half of it', () => {
    const open = octaveOdds(0.5, [{ stitch: 1, row: 0.5, weight: 0.4 }]);
    const odds = asPlanned(open, read, PLANNED, 2.8);
    expect(odds.ways[0].weight).toBeCloseTo(0.5 / (0.5 + 0.4 * 0.002 + 0.1 * 0.1), 6);
    expect(odds.ways.reduce((sum, { weight }) => sum + weight, odds.other)).toBeCloseTo(1, 9);
  });

  it('finds half of the rows likelier where these are planned, however sure the check is', () => {
    const sure = octaveOdds(0.96, [{ stitch: 1, row: 0.5, weight: 0.03 }]);
    const { ways } = asPlanned(sure, { ...read, rowPitchPx: 7 }, PLANNED, 2.8);
    expect(ways[0]).toMatchObject({ stitch: 1, row: 1 });
    expect(ways[1]).toMatchObject({ stitch: 1, row: 0.5 });
    expect(ways[1]!.weight).toBeGreaterThan(0.9);
  });
});
