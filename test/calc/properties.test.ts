/** What must hold for every piece, tried on pieces nobody chose. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  borderRounds,
  chanceOfRunningOut,
  combineEstimates,
  formatLength,
  isLegalCount,
  legalStep,
  parseLength,
  pickUpRatio,
  planPiece,
  readPlanSpec,
  sizeModel,
  sizeTable,
  skeinsForSafety,
  spreadEvenly,
  type PlanSpec,
} from '../../calc/index.ts';

const RUNS = { numRuns: 60, seed: 20_240 };

const parity = fc.constantFrom('any', 'odd', 'even') as fc.Arbitrary<'any' | 'odd' | 'even'>;
const stitch = fc.constantFrom('sc', 'hdc', 'herringbone-hdc', 'dc', 'stockinette', 'garter') as fc.Arbitrary<
  'sc' | 'hdc' | 'herringbone-hdc' | 'dc' | 'stockinette' | 'garter'
>;
const piece = fc.record({
  stitchGauge: fc.double({ min: 6, max: 30, noNaN: true }),
  rowGauge: fc.double({ min: 5, max: 40, noNaN: true }),
  stitch,
  m: fc.integer({ min: 1, max: 24 }),
  plus: fc.integer({ min: 0, max: 6 }),
  parity,
  widthMm: fc.double({ min: 700, max: 2500, noNaN: true }),
  heightMm: fc.double({ min: 700, max: 2500, noNaN: true }),
  rounds: fc.integer({ min: 0, max: 4 }),
  grams: fc.double({ min: 8, max: 40, noNaN: true }),
});
type Piece = typeof piece extends fc.Arbitrary<infer T> ? T : never;

const specOf = (p: Piece): PlanSpec => ({
  gauge: {
    stitchesPer10cm: { value: p.stitchGauge, standardUncertainty: 0.01 * p.stitchGauge },
    rowsPer10cm: { value: p.rowGauge, standardUncertainty: 0.01 * p.rowGauge },
  },
  stitch: p.stitch,
  target: { widthMm: p.widthMm, heightMm: p.heightMm },
  multiple: { m: p.m, plus: p.plus + 3, parity: p.parity },
  colours: [
    { id: 'a', skeinGrams: 100, skeinMetres: 200 },
    { id: 'b', skeinGrams: 50, skeinMetres: 110 },
  ],
  layout: {
    kind: 'blocks',
    bands: [
      { rows: 2, across: ['a', 'b'] },
      { rows: 2, across: ['b', 'a'] },
    ],
  },
  border: p.rounds ? { rounds: p.rounds, stitch: 'dc', colour: ['a', 'b'] } : null,
  yarn: { swatchWeight: { stitches: 20, rows: 16, grams: p.grams } },
});

describe('width', () => {
  it('grows with k', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const { width } = planPiece(specOf(p)).neighbours;
        for (let index = 1; index < width.length; index++) {
          expect(width[index]!.repeats).toBeGreaterThan(width[index - 1]!.repeats);
          expect(width[index]!.finishedWidthMm.value).toBeGreaterThan(
            width[index - 1]!.finishedWidthMm.value,
          );
        }
      }),
      RUNS,
    );
  });

  it('is off by no more than half a repeat, border included, and so is the height by half a row', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const spec = specOf(p);
        const plan = planPiece(spec);
        const size = sizeModel(readPlanSpec(spec));
        const stepMm = (legalStep(plan.multiple) * 100) / p.stitchGauge;
        const smallest = plan.neighbours.width[0]!.finishedWidthMm.value;
        // unless even the smallest legal piece is too wide
        if (smallest <= p.widthMm) {
          expect(Math.abs(plan.finished.widthMm.value - p.widthMm)).toBeLessThanOrEqual(stepMm / 2 + 1e-6);
        }
        expect(Math.abs(size.expectedHeightMm(plan.rows) - p.heightMm)).toBeLessThanOrEqual(
          50 / p.rowGauge + 1e-6,
        );
      }),
      RUNS,
    );
  });

  it('chain is always m × k + plus with the right parity', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const plan = planPiece(specOf(p));
        expect(isLegalCount(plan.chain, plan.multiple)).toBe(true);
      }),
      RUNS,
    );
  });
});

describe('units', () => {
  it('the plan does not depend on the unit chosen', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const spec = specOf(p);
        const inMm = planPiece(spec);
        const inInches = planPiece({
          ...spec,
          units: 'in',
          target: { widthMm: `${p.widthMm / 25.4} in`, heightMm: `${p.heightMm / 304.8} ft` },
          gauge: {
            stitchesPer4in: {
              value: p.stitchGauge * 1.016,
              standardUncertainty: 0.01 * p.stitchGauge * 1.016,
            },
            rowsPer4in: { value: p.rowGauge * 1.016, standardUncertainty: 0.01 * p.rowGauge * 1.016 },
          },
        });
        expect(inInches.chain).toBe(inMm.chain);
        expect(inInches.rows).toBe(inMm.rows);
        expect(inInches.yarn!.totalGrams.value).toBeCloseTo(inMm.yarn!.totalGrams.value, 6);
      }),
      RUNS,
    );
  });

  it('a length written out and read again stays within what was written', () => {
    fc.assert(
      fc.property(fc.double({ min: 10, max: 9000, noNaN: true }), (mm) => {
        expect(Math.abs(parseLength(formatLength(mm, 'cm')) - mm)).toBeLessThanOrEqual(2.5 + 1e-9);
        expect(Math.abs(parseLength(formatLength(mm, 'in')) - mm)).toBeLessThanOrEqual(25.4 / 8 + 1e-9);
      }),
      RUNS,
    );
  });

  it('reading a length never fails in any other way than by a typed error', () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 20 }), (text) => {
        try {
          expect(Number.isFinite(parseLength(text, { unit: 'cm' }))).toBe(true);
        } catch (error) {
          expect((error as Error).name).toBe('CalcError');
        }
      }),
      { numRuns: 500, seed: 7 },
    );
  });
});

describe('yarn', () => {
  it('is additive over colours: stitches of the colours sum to those of the piece, grams to the total', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const plan = planPiece(specOf(p));
        const { perColour, totalGrams } = plan.yarn!;
        const body = perColour.reduce((sum, each) => sum + each.stitches.body, 0);
        expect(body).toBe(plan.stitches * plan.rows);
        const border = perColour.reduce((sum, each) => sum + each.stitches.border, 0);
        expect(border).toBe(plan.border?.rounds.reduce((sum, round) => sum + round.stitches, 0) ?? 0);
        expect(perColour.reduce((sum, each) => sum + each.grams.value, 0)).toBeCloseTo(totalGrams.value, 6);
        for (const each of perColour) {
          const parts = Object.values(each.parts).reduce((sum, part) => sum + part, 0);
          expect(parts).toBeCloseTo(each.grams.value, 6);
        }
      }),
      RUNS,
    );
  });

  it('two colours of one yarn need what one colour needs, carried strands and tails apart', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const colours = [
          { id: 'a', skeinGrams: 100, skeinMetres: 200 },
          { id: 'b', skeinGrams: 100, skeinMetres: 200 },
        ];
        const two = planPiece({ ...specOf(p), colours }).yarn!;
        const one = planPiece({ ...specOf(p), colours, layout: { kind: 'solid' } }).yarn!;
        const worked = (yarn: typeof two) =>
          yarn.perColour.reduce(
            (sum, each) => sum + each.parts.fabric + each.parts.foundationAndTurning + each.parts.border,
            0,
          );
        expect(worked(two) / worked(one)).toBeCloseTo(1, 2);
      }),
      RUNS,
    );
  });

  it('the chance of running out falls with every skein', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1, max: 3000, noNaN: true }),
        fc.double({ min: 0.005, max: 0.4, noNaN: true }),
        fc.double({ min: 20, max: 200, noNaN: true }),
        (grams, relative, skein) => {
          const need = { value: grams, standardUncertainty: relative * grams };
          const safe = skeinsForSafety(need, skein);
          let last = 1;
          for (let skeins = 0; skeins <= safe + 2; skeins++) {
            const chance = chanceOfRunningOut(need, skein, skeins);
            expect(chance).toBeLessThanOrEqual(last);
            last = chance;
          }
          expect(chanceOfRunningOut(need, skein, safe)).toBeLessThanOrEqual(0.05);
          expect(chanceOfRunningOut(need, skein, safe - 1)).toBeGreaterThan(0.05);
        },
      ),
      RUNS,
    );
  });

  it('combined evidence lies between its parts and is surer than each, unless they disagree', () => {
    const one = fc.record({
      value: fc.double({ min: 1, max: 100, noNaN: true }),
      standardUncertainty: fc.double({ min: 0.1, max: 20, noNaN: true }),
    });
    fc.assert(
      fc.property(fc.array(one, { minLength: 1, maxLength: 4 }), (parts) => {
        const combined = combineEstimates(parts);
        const values = parts.map((each) => each.value);
        expect(combined.value).toBeGreaterThanOrEqual(Math.min(...values) - 1e-9);
        expect(combined.value).toBeLessThanOrEqual(Math.max(...values) + 1e-9);
        if (combined.birgeRatio <= 1) {
          const surest = Math.min(...parts.map((each) => each.standardUncertainty));
          expect(combined.standardUncertainty).toBeLessThanOrEqual(surest + 1e-9);
        }
      }),
      RUNS,
    );
  });
});

describe('border', () => {
  const rectangle = fc.record({
    stitches: fc.integer({ min: 4, max: 400 }),
    rows: fc.integer({ min: 2, max: 400 }),
    stitchWidthMm: fc.double({ min: 2, max: 20, noNaN: true }),
    rowHeightMm: fc.double({ min: 2, max: 30, noNaN: true }),
    borderStitchMm: fc.double({ min: 2, max: 20, noNaN: true }),
    rounds: fc.integer({ min: 1, max: 6 }),
    cornerStitches: fc.constantFrom(1, 3, 5),
    multiple: fc
      .integer({ min: 1, max: 12 })
      .chain((m) => fc.record({ m: fc.constant(m), plus: fc.integer({ min: 0, max: m - 1 }) })),
  });

  it('every round meets its pattern by no more than half a repeat of adding or skipping', () => {
    fc.assert(
      fc.property(rectangle, (options) => {
        const { rounds } = borderRounds(options);
        rounds.forEach((round, index) => {
          expect(round.stitches % options.multiple.m).toBe(options.multiple.plus);
          expect(Math.abs(round.adjust)).toBeLessThanOrEqual(options.multiple.m / 2);
          const before = index === 0 ? null : rounds[index - 1]!.stitches;
          if (before !== null) {
            expect(round.stitches - before - round.adjust).toBe(4 * (options.cornerStitches - 1));
          }
        });
      }),
      RUNS,
    );
  });

  it('a side carries its ratio with the remainder spread, half a stitch out at most', () => {
    fc.assert(
      fc.property(rectangle, (options) => {
        const { heightEdge } = borderRounds(options);
        const wanted = (options.rows * heightEdge.take) / heightEdge.per;
        expect(Math.abs(heightEdge.stitches - wanted)).toBeLessThanOrEqual(0.5 + 1e-9);
        expect(heightEdge.extraAt).toHaveLength(Math.abs(heightEdge.extra));
        expect(new Set(heightEdge.extraAt).size).toBe(heightEdge.extraAt.length);
      }),
      RUNS,
    );
  });

  it('the pick-up ratio eases the edge by no more than 8 %, for edges between a tenth and ten times the stitch', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.1, max: 10, noNaN: true }), (exact) => {
        const { fullness, per } = pickUpRatio({ edgeUnitMm: exact * 5, borderStitchMm: 5 });
        expect(Math.abs(fullness - 1)).toBeLessThanOrEqual(0.08 + 1e-9);
        expect(per).toBeLessThanOrEqual(10);
      }),
      RUNS,
    );
  });

  it('spreads changes evenly: gaps differ by one at most', () => {
    fc.assert(
      fc.property(fc.integer({ min: 2, max: 40 }), fc.integer({ min: 40, max: 400 }), (count, over) => {
        const at = spreadEvenly(count, over);
        const gaps = at.slice(1).map((place, index) => place - at[index]!);
        expect(Math.max(...gaps) - Math.min(...gaps)).toBeLessThanOrEqual(1);
        expect(at[0]).toBeGreaterThanOrEqual(1);
        expect(at[count - 1]).toBeLessThanOrEqual(over);
      }),
      RUNS,
    );
  });
});

describe('several sizes', () => {
  it('a larger size never has fewer stitches, rows, border stitches or grams', () => {
    fc.assert(
      fc.property(piece, (p) => {
        const { target: _target, ...pattern } = specOf(p);
        const table = sizeTable(
          pattern,
          [1, 1.2, 1.5, 2].map((factor) => ({
            name: `× ${factor}`,
            widthMm: p.widthMm * factor,
            heightMm: p.heightMm * factor,
          })),
        );
        for (let index = 1; index < table.length; index++) {
          const [small, large] = [table[index - 1]!, table[index]!];
          expect(large.chain).toBeGreaterThanOrEqual(small.chain);
          expect(large.rows).toBeGreaterThanOrEqual(small.rows);
          large.borderRounds.forEach((count, round) =>
            expect(count).toBeGreaterThanOrEqual(small.borderRounds[round]!),
          );
          large.yarn.forEach((yarn, colour) =>
            expect(yarn.grams.value).toBeGreaterThanOrEqual(small.yarn[colour]!.grams.value),
          );
        }
      }),
      { ...RUNS, numRuns: 25 },
    );
  });
});
