import { describe, expect, it } from 'vitest';
import { countingsFor, hasOddProportions, STITCH_ASPECTS } from '../../vision/stitchAspects.ts';
import { STITCH_KEYS, type StitchKey } from '../../vision/types.ts';

const named = (stitch: StitchKey) => [{ stitch, weight: 1 }];

describe('STITCH_ASPECTS', () => {
  it('knows every stitch', () => {
    expect(Object.keys(STITCH_ASPECTS).sort()).toEqual([...STITCH_KEYS].sort());
  });

  it('has plain knitting agree with D. L. Munden, J. Textile Inst. 50, 1959 (constants from memory)', () => {
    // courses per cm = Kc / l and wales per cm = Kw / l, so row height ÷ stitch width = Kw ⁄ Kc.
    const dryRelaxed = 3.8 / 5.0;
    const fullyRelaxed = 4.2 / 5.5;
    for (const stitch of ['stockinette', 'reverse-stockinette'] as const) {
      const { aspect, logSd } = STITCH_ASPECTS[stitch];
      for (const munden of [dryRelaxed, fullyRelaxed]) {
        expect(Math.abs(Math.log(aspect / munden))).toBeLessThan(0.5 * logSd);
      }
    }
  });

  it('has taller stitches taller: sc < hdc < dc (common practice)', () => {
    expect(STITCH_ASPECTS.sc.aspect).toBeLessThan(STITCH_ASPECTS.hdc.aspect);
    expect(STITCH_ASPECTS.hdc.aspect).toBeLessThan(STITCH_ASPECTS.dc.aspect);
  });

  it('has garter about square when two rows are counted as one ridge (common practice)', () => {
    expect(2 * STITCH_ASPECTS.garter.aspect).toBeCloseTo(1, 1);
  });
});

describe('countingsFor', () => {
  it.each(STITCH_KEYS)('leaves %s as it was read when its shape is the usual one', (stitch) => {
    const [best] = countingsFor(named(stitch), STITCH_ASPECTS[stitch].aspect);
    expect(best).toMatchObject({ stitch: 1, row: 1 });
    expect(best.weight).toBeGreaterThan(0.7);
  });

  it('counts two rows for every ridge of garter', () => {
    // Ridge by ridge garter looks square.
    const [best] = countingsFor(named('garter'), 1);
    expect(best).toMatchObject({ stitch: 1, row: 2 });
  });

  it.each(['rib-1x1', 'rib-2x2'] as const)(
    'counts two stitches for every pair of columns of %s',
    (stitch) => {
      // Read in pairs, stitches are twice as wide and rows half as high beside them.
      const [best] = countingsFor(named(stitch), STITCH_ASPECTS[stitch].aspect / 2);
      expect(best.stitch / best.row).toBe(2);
    },
  );

  it('counts one stitch where the legs of a V were read as two', () => {
    const [best] = countingsFor(named('stockinette'), 2 * 0.73);
    expect(best.stitch / best.row).toBe(0.5);
  });

  it('takes square bumps for ridges of garter, unless the maker says that they are not', () => {
    expect(countingsFor(named('reverse-stockinette'), 0.98)[0]).toMatchObject({ stitch: 1, row: 2 });
    expect(countingsFor(named('reverse-stockinette'), 0.98, { named: true })[0]).toMatchObject({
      stitch: 1,
      row: 1,
    });
    expect(countingsFor(named('reverse-stockinette'), 0.8)[0]).toMatchObject({ stitch: 1, row: 1 });
  });

  it('weighs stitches by how much the cloth looks like them', () => {
    const aspect = 1;
    const of = (garter: number) =>
      countingsFor(
        [
          { stitch: 'garter', weight: garter },
          { stitch: 'sc', weight: 1 - garter },
        ],
        aspect,
      );
    const doubled = (all: ReturnType<typeof of>) => all.find((c) => c.stitch === 1 && c.row === 2)!.weight;
    expect(of(0.05)[0]).toMatchObject({ stitch: 1, row: 1 });
    expect(doubled(of(0.99))).toBeGreaterThan(doubled(of(0.5)));
    expect(doubled(of(0.5))).toBeGreaterThan(doubled(of(0.05)));
  });

  it('gives weights that sum to 1, best first', () => {
    const all = countingsFor(named('moss'), 1.4);
    expect(all.reduce((s, c) => s + c.weight, 0)).toBeCloseTo(1, 9);
    expect(all.map((c) => c.weight)).toEqual([...all.map((c) => c.weight)].sort((a, b) => b - a));
  });

  it('stays with what was read when no counting explains the shape', () => {
    const [best] = countingsFor(named('stockinette'), 40);
    expect(best).toMatchObject({ stitch: 1, row: 1 });
  });
});

describe('hasOddProportions', () => {
  it('doubts stockinette whose rows are higher than its stitches are wide: half of each is nearer', () => {
    expect(hasOddProportions(named('stockinette'), 1.05)).toBe(true);
    expect(hasOddProportions(named('stockinette'), 0.73)).toBe(false);
  });

  it('leaves odd hands alone when neither half nor twice the count fits better', () => {
    expect(hasOddProportions(named('stockinette'), 0.53)).toBe(false);
  });

  it('asks all the fabrics that it may be', () => {
    const either = [
      { stitch: 'stockinette' as const, weight: 0.6 },
      { stitch: 'sc' as const, weight: 0.4 },
    ];
    expect(hasOddProportions(either, 1.05)).toBe(false);
  });
});
