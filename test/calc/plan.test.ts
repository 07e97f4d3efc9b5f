/** Whole plans, worked by hand beside the code. */
import { describe, expect, it } from 'vitest';
import { planPiece, type PlanSpec } from '../../calc/index.ts';
import { BLANKET, PLAIN } from './specs.ts';

describe('a plain hdc blanket, worked by hand', () => {
  const plan = planPiece(PLAIN);

  it('width: 890 mm at 13.5 per 10 cm is 120.15 stitches, so 120 on a chain of 122', () => {
    expect(plan.stitches).toBe(120);
    expect(plan.chain).toBe(122);
    expect(plan.finished.widthMm.value).toBeCloseTo((120 * 100) / 13.5, 9);
  });

  it('height: row 1 is 0.9 of a row, so 1020 mm at 9 per 10 cm is 91.9 rows', () => {
    expect(plan.rows).toBe(92);
    expect(plan.finished.heightMm.value).toBeCloseTo((91.9 * 100) / 9, 9);
  });

  it('yarn: the swatch of 14 g holds 280 hdc and 48 chains, 2.27 chains to an hdc', () => {
    const perStitch = 14 / (280 + (22 + 26) / 2.27);
    const stitches = 120 * 92;
    const chains = 122 + 2 * 91;
    const fabric = perStitch * (stitches + chains / 2.27);
    const { parts, grams } = plan.yarn!.perColour[0]!;
    // the label's wide estimate has 1–2 % of the weight and moves the figure a little
    expect(parts.fabric + parts.foundationAndTurning).toBeCloseTo(fabric, -1);
    expect(grams.value).toBeCloseTo(parts.fabric + parts.foundationAndTurning + parts.tails + 14, 6);
  });

  it('says how to begin, how to turn and how far to go', () => {
    expect(plan.instructions[0]).toBe('Chain 122.');
    expect(plan.instructions[1]).toContain('half double crochet into the 3rd chain from the hook');
    expect(plan.instructions[1]).toContain('120 stitches');
    expect(plan.instructions.join(' ')).toContain('92 rows');
  });

  it('says it in UK terms on request', () => {
    const uk = planPiece({ ...PLAIN, stitch: 'dc', terms: 'uk' }).instructions.join(' ');
    expect(uk).toContain('treble into the 4th chain');
    expect(uk).not.toContain('double crochet');
  });
});

describe('choosing a width', () => {
  const at = (rounding: 'nearest' | 'not-smaller' | 'not-larger') =>
    planPiece({ ...BLANKET, target: { ...BLANKET.target, rounding } });

  it('lists what lies on either side, with finished widths', () => {
    const { width } = at('nearest').neighbours;
    expect(width.map((each) => each.chain)).toEqual([92, 104, 116, 128, 140]);
    expect(width.filter((each) => each.chosen).map((each) => each.chain)).toEqual([116]);
  });

  it('not smaller, not larger', () => {
    expect(at('not-smaller').finished.widthMm.value).toBeGreaterThanOrEqual(889);
    expect(at('not-larger').finished.widthMm.value).toBeLessThanOrEqual(889);
    expect(at('not-larger').chain).toBe(104);
  });

  it('takes the chain she chose instead, and refuses one that the multiple does not allow', () => {
    expect(planPiece({ ...BLANKET, fixed: { chain: 128 } }).stitches).toBe(126);
    expect(() => planPiece({ ...BLANKET, fixed: { chain: 127 } })).toThrow(/fixed\.chain is 127/);
  });
});

describe('choosing a height', () => {
  const colours: PlanSpec['colours'] = [{ id: 'a' }, { id: 'b' }];
  const stripes = [
    { colour: 'a', rows: 2 },
    { colour: 'b', rows: 2 },
  ];

  it('ends on the colour asked for, with whole stripes', () => {
    const plan = planPiece({ ...PLAIN, colours, layout: { kind: 'stripes', stripes, endWith: 'a' } });
    expect(plan.rows % 4).toBe(2);
    expect(plan.neighbours.height.every((each) => each.rows % 4 === 2)).toBe(true);
  });

  it('ends on a right-side row, which is odd as row 1 is one', () => {
    expect(planPiece({ ...PLAIN, lastRow: 'right-side' }).rows % 2).toBe(1);
    expect(planPiece({ ...PLAIN, lastRow: 'wrong-side' }).rows % 2).toBe(0);
  });

  it('keeps to the row repeat', () => {
    const plan = planPiece({ ...PLAIN, rowRepeat: { m: 4, plus: 1 } });
    expect((plan.rows - 1) % 4).toBe(0);
  });

  it('says so when the rules can never be met together', () => {
    const layout = { kind: 'stripes', stripes, endWith: 'a' } as const;
    expect(() => planPiece({ ...PLAIN, colours, layout, lastRow: 'right-side' })).toThrow(/all at once/);
  });
});

describe('colours', () => {
  it('two-row stripes of 92 rows: 46 rows each, and the unused colour goes up the side', () => {
    const plan = planPiece({
      ...PLAIN,
      colours: [
        { id: 'a', skeinGrams: 100, skeinMetres: 200 },
        { id: 'b', skeinGrams: 100, skeinMetres: 200 },
      ],
      layout: {
        kind: 'stripes',
        stripes: [
          { colour: 'a', rows: 2 },
          { colour: 'b', rows: 2 },
        ],
      },
    });
    const [a, b] = plan.yarn!.perColour;
    expect(a!.stitches.body).toBe(46 * 120);
    expect(b!.stitches.body).toBe(46 * 120);
    expect(a!.parts.carried).toBeGreaterThan(0);
    expect(a!.parts.tails).toBeCloseTo((2 * 0.15) / 2, 6); // one strand, a 15 cm tail at each end, 2 m/g
  });

  it('shares of the stitches stand in when there is no layout', () => {
    const { perColour } = planPiece({
      ...PLAIN,
      colours: [
        { id: 'main', share: 3 },
        { id: 'other', share: 1 },
      ],
      layout: { kind: 'shares' },
    }).yarn!;
    expect(perColour[0]!.stitches.body).toBeCloseTo(3 * perColour[1]!.stitches.body, 9);
  });

  it('a grid of squares', () => {
    const plan = planPiece({
      ...PLAIN,
      colours: [{ id: 'main' }, { id: 'other' }],
      multiple: { m: 10, plus: 2 },
      layout: {
        kind: 'grid',
        cells: [
          ['main', 'other'],
          ['other', 'main'],
        ],
        cellStitches: 10,
        cellRows: 6,
        carried: false,
      },
    });
    const total = plan.yarn!.perColour.reduce((sum, each) => sum + each.stitches.body, 0);
    expect(total).toBe(plan.stitches * plan.rows);
    expect(plan.instructions.join(' ')).toContain('cross the strands');
  });
});

describe('borders', () => {
  it('a measured border takes its depth from the measurement, with less doubt', () => {
    const guessed = planPiece(BLANKET);
    const measured = planPiece({
      ...BLANKET,
      border: { ...BLANKET.border!, measured: { rounds: 3, depthMm: 42, standardUncertaintyMm: 1 } },
    });
    expect(measured.border!.depthMm.value).toBeCloseTo(42, 9);
    expect(measured.border!.depthMm.standardUncertainty).toBeLessThan(
      guessed.border!.depthMm.standardUncertainty,
    );
    expect(measured.finished.widthMm.standardUncertainty).toBeLessThan(
      guessed.finished.widthMm.standardUncertainty,
    );
  });

  it('a border pattern of 10 says where to add or skip a stitch, each round', () => {
    const plan = planPiece({ ...BLANKET, border: { rounds: 3, stitch: 'dc', multiple: { m: 10, plus: 3 } } });
    for (const round of plan.border!.rounds) {
      expect(round.stitches % 10).toBe(3);
      expect(Math.abs(round.adjust)).toBeLessThanOrEqual(5);
      expect(round.adjustAt.flatMap((each) => each.stitches)).toHaveLength(Math.abs(round.adjust));
    }
    expect(plan.instructions.join(' ')).toMatch(/so that the pattern comes out/);
  });

  it('rows that the ratio does not divide leave a remainder, spread along the side', () => {
    const { heightEdge } = planPiece({ ...BLANKET, fixed: { rows: 85 } }).border!;
    expect(heightEdge).toMatchObject({ take: 3, per: 2, stitches: 128, extra: 1 });
    expect(heightEdge.extraAt).toEqual([43]);
  });
});

describe('yarn evidence', () => {
  const yarnOf = (yarn: PlanSpec['yarn']) => planPiece({ ...PLAIN, yarn }).yarn!.perColour[0]!;

  it('the more evidence, the narrower, best first', () => {
    const label = yarnOf({});
    const swatch = yarnOf({ swatchWeight: { stitches: 20, rows: 14, grams: 14 } });
    const both = yarnOf({
      swatchWeight: { stitches: 20, rows: 14, grams: 14 },
      unravelled: { stitches: 60, metres: 5.6 },
    });
    expect(label.basis.map((each) => each.kind)).toEqual(['label']);
    expect(swatch.grams.standardUncertainty).toBeLessThan(label.grams.standardUncertainty);
    expect(both.grams.standardUncertainty).toBeLessThan(swatch.grams.standardUncertainty);
    expect(both.basis).toHaveLength(3);
    expect(both.basis[0]!.weight).toBeGreaterThan(both.basis[2]!.weight);
  });

  it('what the piece has used so far outweighs the swatch', () => {
    const used = yarnOf({
      swatchWeight: { stitches: 20, rows: 14, grams: 14 },
      usedSoFar: [{ colour: 'main', gramsBefore: 300, gramsLeft: 40, rowsDone: 46 }],
    });
    expect(used.basis[0]!.kind).toBe('used-so-far');
  });

  it('evidence that contradicts itself is reported and widened', () => {
    const plan = planPiece({
      ...PLAIN,
      yarn: {
        swatchWeight: { stitches: 20, rows: 14, grams: 14 },
        usedSoFar: [{ colour: 'main', gramsBefore: 300, gramsLeft: 150, rowsDone: 46 }],
      },
    });
    expect(plan.advice.map((each) => each.code)).toContain('yarn-evidence-disagrees');
  });

  it('without any evidence there is no figure, and advice what would give one', () => {
    const plan = planPiece({ ...PLAIN, colours: [{ id: 'main' }], yarn: {} });
    expect(plan.yarn).toBeNull();
    expect(plan.advice.map((each) => each.code)).toContain('no-yarn-evidence');
  });

  it('each dye lot is judged by itself', () => {
    const [sand] = planPiece(BLANKET).yarn!.perColour;
    expect(sand!.dyeLots).toEqual([{ lot: '12', skeins: 3, chanceOfRunningOut: expect.any(Number) }]);
    expect(sand!.dyeLots[0]!.chanceOfRunningOut).toBeGreaterThan(0.95);
  });
});
