import { performance } from 'node:perf_hooks';
import { describe, expect, it } from 'vitest';
import { bandOfRow, planPiece, readPlanSpec, searchPlans } from '../../calc/index.ts';
import { BLANKET } from './specs.ts';

const WIDE = { widthMm: { min: 800, max: 1000 }, heightMm: { min: 900, max: 1100 } };

describe('joint search', () => {
  it('without limits it finds what the plan finds', () => {
    const plan = planPiece(BLANKET);
    const { plans } = searchPlans(BLANKET, WIDE, { weights: { yarn: 0 } });
    expect(plans[0]).toMatchObject({ chain: plan.chain, rows: plan.rows, borderRounds: 3 });
  });

  it('its sizes and yarn are those of the whole plan with the same counts', () => {
    const { plans } = searchPlans(BLANKET, { ...WIDE, maxSkeins: { sand: 5, moss: 3 } }, { top: 8 });
    for (const found of plans) {
      const plan = planPiece({ ...BLANKET, fixed: { chain: found.chain, rows: found.rows } });
      expect(plan.finished.widthMm.value).toBeCloseTo(found.widthMm, 6);
      expect(plan.finished.heightMm.value).toBeCloseTo(found.heightMm, 6);
      for (const each of plan.yarn!.perColour) {
        expect(found.gramsPerColour[each.colour]).toBeCloseTo(each.grams.value, 6);
        const limited = each.skeins!.chances.find(
          (chance) => chance.skeins === (each.colour === 'sand' ? 5 : 3),
        );
        if (limited) expect(found.chanceOfRunningOut[each.colour]).toBeCloseTo(limited.chanceOfRunningOut, 9);
      }
    }
  });

  it('is exact: no combination tried one by one is better', () => {
    const { plans, considered } = searchPlans(BLANKET, WIDE, { weights: { yarn: 0, border: 0 }, top: 1 });
    let best = Infinity;
    let tried = 0;
    for (let chain = 60; chain <= 160; chain++) {
      for (let rows = 60; rows <= 110; rows++) {
        let plan;
        if ((chain - 2) % 6 !== 0 || ((chain - 2) / 6) % 2 !== 1) continue;
        try {
          plan = planPiece({ ...BLANKET, fixed: { chain, rows } });
        } catch {
          continue;
        }
        const { widthMm, heightMm } = plan.finished;
        if (widthMm.value < 800 || widthMm.value > 1000 || heightMm.value < 900 || heightMm.value > 1100)
          continue;
        tried++;
        best = Math.min(
          best,
          100 * (Math.abs(widthMm.value / 889 - 1) + Math.abs(heightMm.value / 1016 - 1)),
        );
      }
    }
    expect(considered).toBe(tried);
    expect(plans[0]!.cost).toBeCloseTo(best, 9);
  });

  it('keeps every limit', () => {
    const limits = {
      ...WIDE,
      maxSkeins: { sand: 4, moss: 3 },
      endColour: 'moss',
      borderRounds: [1, 2, 3],
      borderColours: ['sand', 'moss'],
    };
    const result = searchPlans(BLANKET, limits, { top: 50 });
    const { layout } = readPlanSpec(BLANKET);
    expect(result.plans.length).toBeGreaterThan(0);
    for (const plan of result.plans) {
      expect(plan.widthMm).toBeGreaterThanOrEqual(800);
      expect(plan.widthMm).toBeLessThanOrEqual(1000);
      expect(plan.heightMm).toBeLessThanOrEqual(1100);
      expect(plan.chanceOfRunningOut['sand']).toBeLessThanOrEqual(0.05);
      expect(plan.chanceOfRunningOut['moss']).toBeLessThanOrEqual(0.05);
      expect(layout.bands[bandOfRow(layout, plan.rows).index]!.across).toContain('moss');
    }
    const costs = result.plans.map((plan) => plan.cost);
    expect(costs).toEqual([...costs].sort((a, b) => a - b));
  });

  it('says what each plan gives up', () => {
    const { plans } = searchPlans(BLANKET, { ...WIDE, borderRounds: [2, 3] }, { top: 10 });
    const fewer = plans.find((plan) => plan.borderRounds === 2)!;
    expect(fewer.givesUp).toContain('border: 2 rounds in place of 3');
  });

  it('says why nothing fits', () => {
    const nothing = searchPlans(BLANKET, { ...WIDE, maxSkeins: { sand: 1 } });
    expect(nothing.plans).toEqual([]);
    expect(nothing.because.join(' ')).toMatch(/Sand: the leanest plan needs about \d/);
    expect(searchPlans(BLANKET, { widthMm: { min: 900, max: 901 } }).because.join(' ')).toMatch(
      /stitch multiple/,
    );
  });

  it('gives the same answer every time, typically in under 50 ms', () => {
    const limits = { ...WIDE, maxSkeins: { sand: 4, moss: 3 }, borderRounds: [1, 2, 3, 4] };
    const first = searchPlans(BLANKET, limits);
    const times = Array.from({ length: 25 }, () => {
      const start = performance.now();
      expect(searchPlans(BLANKET, limits)).toEqual(first);
      return performance.now() - start;
    }).sort((a, b) => a - b);
    expect(times[5]!).toBeLessThan(50); // lower quartile: other work on the machine is not the search's
  });
});
