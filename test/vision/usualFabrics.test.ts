import { describe, expect, it } from 'vitest';
import { asUsualFabrics } from '../../vision/usualFabrics.ts';
import { octaveOdds } from './octaveOdds.ts';

describe('asUsualFabrics', () => {
  it('takes what both networks see as stockinette for that, and seldom for a closed rib (common practice)', () => {
    const stockinette = [{ stitch: 'stockinette' as const, weight: 0.9 }];
    const odds = octaveOdds(0.75, [{ stitch: 2, row: 1, weight: 0.2 }], stockinette);
    const seen = asUsualFabrics(odds, stockinette);
    expect(seen.ways[0].weight).toBeCloseTo(0.75 / 0.84, 5);
    expect(seen.ways[1]!.weight).toBeCloseTo(0.04 / 0.84, 5);
    expect(seen.other).toBeCloseTo(0.05 / 0.84, 5);
    expect(asUsualFabrics(odds, [{ stitch: 'stockinette', weight: 0.5 }])).toEqual(odds);
  });

  it('finds half the rows the likelier the more the cloth looks like back-loop rib (common practice)', () => {
    const ways = (weight: number) =>
      asUsualFabrics(
        octaveOdds(0.95, [{ stitch: 1, row: 0.5, weight: 0.03 }], [{ stitch: 'blo-rib', weight }]),
        [],
      ).ways;
    expect(ways(1)[0].weight).toBeCloseTo(0.95 / 1.15, 9);
    expect(ways(1)[1]).toMatchObject({ stitch: 1, row: 0.5, weight: 0.18 / 1.15 });
    expect(ways(0.2)[0].weight).toBeCloseTo(0.95 / 1.03, 9);
  });
});
