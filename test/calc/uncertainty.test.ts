/** The law of propagation (JCGM 100:2008) against propagation of distributions (JCGM 101:2008). */
import { mean } from 'simple-statistics';
import { describe, expect, it } from 'vitest';
import {
  chanceOfRunningOut,
  countColours,
  edgeStitchesOf,
  monteCarlo,
  planPiece,
  propagate,
  readPlanSpec,
  sizeModel,
  yarnNeedModel,
  yarnPerStitch,
} from '../../calc/index.ts';
import { BLANKET } from './specs.ts';

/** JCGM 101, clause 8: both agree when interval ends differ by less than the numerical tolerance; 5 % of u here. */
function expectAgreement(
  model: (values: number[]) => number,
  inputs: { value: number; standardUncertainty: number }[],
  tolerance = 0.05,
): void {
  const law = propagate(model, inputs);
  const drawn = monteCarlo(model, inputs, { seed: 101, draws: 20_000 });
  const u = drawn.standardUncertainty;
  expect(Math.abs(law.value - drawn.value)).toBeLessThan(tolerance * u);
  expect(law.standardUncertainty / u).toBeGreaterThan(1 - tolerance);
  expect(law.standardUncertainty / u).toBeLessThan(1 + tolerance);
  expect(Math.abs(law.value - 1.96 * law.standardUncertainty - drawn.low95)).toBeLessThan(2 * tolerance * u);
  expect(Math.abs(law.value + 1.96 * law.standardUncertainty - drawn.high95)).toBeLessThan(2 * tolerance * u);
}

describe('propagation of uncertainty', () => {
  it('a sum and a product, by the book (JCGM 100, 5.1.2 and 5.1.6)', () => {
    const a = { value: 10, standardUncertainty: 0.3 };
    const b = { value: 20, standardUncertainty: 0.4 };
    expect(propagate(([x, y]) => x! + y!, [a, b]).standardUncertainty).toBeCloseTo(0.5, 9);
    const product = propagate(([x, y]) => x! * y!, [a, b]);
    expect(product.standardUncertainty / 200).toBeCloseTo(Math.hypot(0.03, 0.02), 9);
    expect(product.shares[0]).toBeCloseTo(0.0009 / 0.0013, 9);
  });

  const spec = readPlanSpec(BLANKET);
  const size = sizeModel(spec);

  it('finished width, border from stitch ratios included', () => {
    expectAgreement((values) => size.widthOf(114, values), size.inputs);
  });

  it('finished height', () => {
    expectAgreement((values) => size.heightOf(85, values), size.inputs);
  });

  it('grams of a colour', () => {
    const plan = planPiece(BLANKET);
    const counts = countColours({
      layout: spec.layout,
      stitch: spec.stitch,
      chain: plan.chain,
      stitches: plan.stitches,
      rows: plan.rows,
      edgeStitches: edgeStitchesOf(spec),
      carryUpRows: spec.practice.carryUpRows,
    });
    const per = yarnPerStitch(spec, spec.colours[0]!, plan)!;
    const border = { stitchWidthMm: plan.border!.stitchWidthMm.value, rounds: plan.border!.rounds };
    const model = yarnNeedModel(spec, border, spec.colours[0]!, counts['sand']!, per);
    expectAgreement(model.grams, model.inputs);
  });

  it('a chance of running out is the share of draws that run out', () => {
    const need = { value: 190, standardUncertainty: 9 };
    const skein = { value: 100, standardUncertainty: 1.5 };
    const short = monteCarlo(([grams, a, b]) => (grams! > a! + b! ? 1 : 0), [need, skein, skein], {
      seed: 3,
      draws: 20_000,
    });
    expect(Math.abs(short.value - chanceOfRunningOut(need, 100, 2))).toBeLessThan(0.01);
  });

  it('the Monte Carlo check itself is repeatable', () => {
    const run = (seed: number) =>
      monteCarlo(([x]) => x!, [{ value: 5, standardUncertainty: 1 }], { seed, draws: 2000 });
    expect(run(1)).toEqual(run(1));
    expect(run(1).value).not.toBe(run(2).value);
  });

  it('95 % intervals of the finished width hold 95 % of the true widths', () => {
    // the swatch is read with an error, the plan made from the reading, the piece worked at the true gauge
    const u = 0.2;
    const trueGauge = 13.5;
    const read: number[] = [];
    monteCarlo(([x]) => read.push(x!), [{ value: trueGauge, standardUncertainty: u }], {
      seed: 5,
      draws: 400,
    });
    const held = read.map((value) => {
      const plan = planPiece({
        gauge: { stitchesPer10cm: { value, standardUncertainty: u }, rowsPer10cm: 9 },
        stitch: 'hdc',
        target: { widthMm: 900, heightMm: 900 },
      });
      const trueWidth = (plan.stitches * 100) / trueGauge;
      return trueWidth >= plan.finished.widthMm.low95 && trueWidth <= plan.finished.widthMm.high95 ? 1 : 0;
    });
    expect(mean(held)).toBeGreaterThan(0.92);
    expect(mean(held)).toBeLessThan(0.985);
  });
});
