/**
 * What is published about this trade, held against what `calc` does. The source stands beside each.
 * "From memory" marks a value nobody has looked up again; "common practice" one without a source.
 */
import { describe, expect, it } from 'vitest';
import {
  borderRounds,
  CROCHET_LENGTH_TIMES_DIAMETER,
  GRAMS_PER_OUNCE,
  HOOK_SIZES,
  hookAdvice,
  INFANT_CAUTION,
  KNIT_STITCH_CONSTANT,
  METRES_PER_YARD,
  MM_PER_4IN,
  MM_PER_INCH,
  per10cmToPer4in,
  pickUpRatio,
  planPiece,
  readPlanSpec,
  SIZE_PRESETS,
  STITCH_KEYS,
  STITCHES,
  yarnDiameterMm,
  YARN_CATEGORIES,
  yarnPerStitch,
  type StitchKey,
} from '../../calc/index.ts';
import { STITCH_KEYS as READER_KEYS } from '../../vision/types.ts';
import { BLANKET, PLAIN } from './specs.ts';

describe('units', () => {
  it('an inch is 25.4 mm, a yard 0.9144 m, an ounce 28.349523125 g (international yard and pound agreement, 1959)', () => {
    expect(MM_PER_INCH).toBe(25.4);
    expect(METRES_PER_YARD).toBe(0.9144);
    expect(GRAMS_PER_OUNCE).toBeCloseTo(453.59237 / 16, 12);
  });

  it('per 4 in is 1.6 % more than per 10 cm, because 4 in is 101.6 mm', () => {
    expect(MM_PER_4IN).toBeCloseTo(101.6, 12);
    expect(per10cmToPer4in(100) - 100).toBeCloseTo(1.6, 9);
  });
});

describe('Standard Yarn Weight System (Craft Yarn Council, yarnstandards.com; guidelines only)', () => {
  it.each([
    [0, 'lace', 33, 40, 32, 42, 1.4, 1.6],
    [1, 'super fine', 27, 32, 21, 32, 2.25, 3.5],
    [2, 'fine', 23, 26, 16, 20, 3.5, 4.5],
    [3, 'light', 21, 24, 12, 17, 4.5, 5.5],
    [4, 'medium', 16, 20, 11, 14, 5.5, 6.5],
    [5, 'bulky', 12, 15, 8, 11, 6.5, 9],
    [6, 'super bulky', 7, 11, 6, 9, 9, 16],
  ])('category %i, %s', (number, name, knitLow, knitHigh, low, high, hookLow, hookHigh) => {
    expect(YARN_CATEGORIES[number]).toMatchObject({
      name,
      knitStitchesPer4in: { low: knitLow, high: knitHigh },
      crochetStitchesPer4in: { low, high },
      hookMm: { low: hookLow, high: hookHigh },
    });
  });

  it('jumbo: at most 6 knit or 5 crochet stitches in 4 in, hooks from 16 mm', () => {
    expect(YARN_CATEGORIES[7]!.knitStitchesPer4in.high).toBe(6);
    expect(YARN_CATEGORIES[7]!.crochetStitchesPer4in.high).toBe(5);
    expect(YARN_CATEGORIES[7]!.hookMm.low).toBe(16);
  });
});

describe('hooks (Craft Yarn Council, yarnstandards.com)', () => {
  it.each([
    [2.25, 'B-1'],
    [3.5, 'E-4'],
    [4, 'G-6'],
    [5, 'H-8'],
    [5.5, 'I-9'],
    [6, 'J-10'],
    [6.5, 'K-10½'],
    [8, 'L-11'],
    [9, 'M/N-13'],
    [10, 'N/P-15'],
  ])('%d mm is US %s', (mm, us) => {
    expect(HOOK_SIZES.find((size) => size.mm === mm)!.us).toBe(us);
  });

  it('a stitch too many in 10 cm: go up half a millimetre; too few: go down (common practice)', () => {
    const swatch = (value: number) => ({ value, standardUncertainty: 0.1 });
    const tight = hookAdvice({ measured: swatch(14.2), wanted: 13.5, hookMm: 5 });
    expect(tight.action).toBe('larger');
    expect(tight.hook.hookMm).toBeCloseTo(5.5, 9);
    const loose = hookAdvice({ measured: swatch(12.8), wanted: 13.5, hookMm: 5 });
    expect(loose.action).toBe('smaller');
    expect(loose.hook.hookMm).toBeCloseTo(4.5, 9);
  });
});

describe('stitches (common practice)', () => {
  const first = (key: StitchKey) => STITCHES[key].chainsSkipped + 1;

  it('are the ones that the reader of photos knows', () => {
    expect([...STITCH_KEYS]).toEqual([...READER_KEYS]);
    for (const key of STITCH_KEYS) expect(STITCHES[key].key).toBe(key);
  });

  it('hdc and herringbone hdc start in the 3rd chain, skipped chains do not count, chain 2 to turn', () => {
    for (const key of ['hdc', 'herringbone-hdc'] as const) {
      expect(first(key)).toBe(3);
      expect(STITCHES[key]).toMatchObject({
        skippedChainsCount: false,
        turningChain: 2,
        turningChainCounts: false,
      });
    }
    expect(planPiece({ ...PLAIN, fixed: { chain: 122 } }).stitches).toBe(120);
  });

  it('sc starts in the 2nd chain and turns with 1', () => {
    expect(first('sc')).toBe(2);
    expect(STITCHES.sc.turningChain).toBe(1);
    expect(planPiece({ ...PLAIN, stitch: 'sc', fixed: { chain: 121 } }).stitches).toBe(120);
  });

  it('dc starts in the 4th chain when the turning chain of 3 counts, in the 3rd when it does not', () => {
    expect(first('dc')).toBe(4);
    expect(planPiece({ ...PLAIN, stitch: 'dc', fixed: { chain: 122 } }).stitches).toBe(120);
    const uncounted = { like: 'dc', chainsSkipped: 2, turningChain: 2, turningChainCounts: false } as const;
    const plan = planPiece({ ...PLAIN, stitch: uncounted, fixed: { chain: 122 } });
    expect(plan.stitches).toBe(120);
    expect(plan.instructions[1]).toContain('3rd chain');
  });

  it('UK names are one step up from US names', () => {
    expect(STITCHES.sc.names.uk).toBe(STITCHES.dc.names.us);
    expect(STITCHES.dc.names.uk).toBe('treble');
    expect(STITCHES.hdc.names.uk).toBe('half treble');
  });

  it("stockinette's rows are Kw ÷ Kc = 3.8 ÷ 5.0 as high as its stitches are wide (Munden, J. Textile Inst. 50, 1959; from memory)", () => {
    const { low, high } = STITCHES.stockinette.heightToWidth;
    expect(3.8 / 5).toBeGreaterThan(low);
    expect(4.2 / 5.5).toBeLessThan(high);
  });
});

describe('multiples (common practice)', () => {
  it('"multiple of 6, plus 2" is 6 k + 2; odd k only, so that both edges match', () => {
    const plan = planPiece(BLANKET);
    expect(plan.chain).toBe(6 * plan.repeats + 2);
    expect(plan.repeats % 2).toBe(1);
    expect(plan.neighbours.width.every((each) => each.repeats % 2 === 1)).toBe(true);
  });

  it('odd block counts begin and end a row in the same colour', () => {
    const { perColour } = planPiece({
      ...BLANKET,
      layout: { kind: 'blocks', bands: [{ rows: 1, across: ['sand', 'moss'] }] },
    }).yarn!;
    const plan = planPiece(BLANKET);
    const [sand, moss] = perColour;
    expect(sand!.stitches.body - moss!.stitches.body).toBe(6 * plan.rows);
  });
});

describe('borders (common practice)', () => {
  it('3 dc for every 2 hdc rows follows from the gauges: 3 dc measure about as wide as 2 hdc rows are high', () => {
    const stitchMm = 100 / 13.5;
    for (const ratio of [1.42, 1.45, 1.5, 1.55, 1.6]) {
      expect(pickUpRatio({ edgeUnitMm: ratio * stitchMm, borderStitchMm: stitchMm })).toMatchObject({
        take: 3,
        per: 2,
      });
    }
  });

  it('2 per dc row, 3 per 4 stockinette rows, 1 per ridge of garter', () => {
    expect(pickUpRatio({ edgeUnitMm: 1.9, borderStitchMm: 1 })).toMatchObject({ take: 2, per: 1 });
    expect(pickUpRatio({ edgeUnitMm: 0.75, borderStitchMm: 1 })).toMatchObject({ take: 3, per: 4 });
    expect(pickUpRatio({ edgeUnitMm: 0.5, borderStitchMm: 1 })).toMatchObject({ take: 1, per: 2 });
  });

  it('stitches are worked one for one along top and bottom', () => {
    expect(planPiece(BLANKET).border!.widthEdge).toMatchObject({ take: 1, per: 1, extra: 0 });
  });

  it('3 into each corner adds 2 a corner, 8 a round', () => {
    const { rounds } = planPiece({ ...BLANKET, border: { rounds: 4, stitch: 'post-rib' } }).border!;
    for (let index = 1; index < rounds.length; index++) {
      expect(rounds[index]!.stitches - rounds[index - 1]!.stitches).toBe(8);
    }
  });

  it('a post rib starts from a round of dc and has an even total in every round', () => {
    const { rounds } = planPiece(BLANKET).border!;
    expect(rounds[0]!.stitchKey).toBe('dc');
    expect(rounds[1]!.stitchKey).toBe('post-rib');
    for (const round of rounds) expect(round.stitches % 2).toBe(0);
  });

  it('a border of r rounds adds its depth to both sides of width and of height', () => {
    const plan = planPiece(BLANKET);
    const depth = plan.border!.depthMm.value;
    expect(plan.finished.widthMm.value).toBeCloseTo(plan.body.widthMm.value + 2 * depth, 9);
    expect(plan.finished.heightMm.value).toBeCloseTo(plan.body.heightMm.value + 2 * depth, 9);
  });

  it('every stitch of round 1 lies somewhere: two edges of stitches, two of rows, four corners', () => {
    const count = borderRounds({
      stitches: 120,
      rows: 90,
      stitchWidthMm: 7.4,
      rowHeightMm: 11.1,
      borderStitchMm: 7.4,
      rounds: 1,
      cornerStitches: 3,
      multiple: { m: 1, plus: 0 },
    });
    // the end stitches hold the corners: 2 × 118 + 2 × 135 + 4 × 3
    expect(count.rounds[0]!.stitches).toBe(518);
  });
});

describe('yarn', () => {
  const inchesPerInch = 4.8; // foundation chain, "Crochet Yarn Estimating", windchilde.com

  it.each([
    ['sc', 10.6],
    ['hdc', 15.7],
    ['dc', 20.4],
  ] as const)(
    'a single-row strip of %s, chain included, takes %d in of yarn per in (windchilde.com)',
    (key, strip) => {
      expect(inchesPerInch * (1 + STITCHES[key].yarnInChains)).toBeCloseTo(strip, 1);
    },
  );

  it('32 in per in² in sc, hdc and dc alike: 31.42, 32.08, 31.6 (windchilde.com)', () => {
    for (const key of ['sc', 'hdc', 'dc'] as const) expect(STITCHES[key].yarnPerAreaFactor).toBe(1);
  });

  it('length per area × diameter is near 3: 12.6 cm per cm² of a worsted 0.24 cm thick (windchilde.com)', () => {
    expect((32 / 2.54) * 0.24).toBeCloseTo(CROCHET_LENGTH_TIMES_DIAMETER.value, 1);
    expect(yarnDiameterMm(2)).toBeCloseTo(2.4, 6);
  });

  it('label and gauge alone give 12.6 m for 10 × 10 cm of worsted, within the stated uncertainty (windchilde.com)', () => {
    const spec = readPlanSpec({
      ...PLAIN,
      stitch: 'sc',
      gauge: { stitchesPer10cm: 13, rowsPer10cm: 15 },
      yarn: {},
    });
    const per = yarnPerStitch(spec, spec.colours[0]!, { chain: 101, stitches: 100 })!;
    const metres = per.value * 2 * 13 * 15;
    const u = per.standardUncertainty * 2 * 13 * 15;
    expect(Math.abs(metres - 12.6)).toBeLessThan(u);
    expect(u / metres).toBeGreaterThan(0.15); // wide, and said to be
  });

  it("Munden's Ks: 19.0 dry relaxed and 23.1 fully relaxed both lie within one u (J. Textile Inst. 50, 1959; from memory)", () => {
    for (const ks of [19, 23.1]) {
      expect(Math.abs(ks - KNIT_STITCH_CONSTANT.value)).toBeLessThan(
        KNIT_STITCH_CONSTANT.standardUncertainty,
      );
    }
  });

  it('stockinette of 22 × 30 per 10 cm takes l = √(Ks ÷ stitches per cm²) a stitch (Munden)', () => {
    const spec = readPlanSpec({
      ...PLAIN,
      stitch: 'stockinette',
      gauge: { stitchesPer10cm: 22, rowsPer10cm: 30 },
      colours: [{ id: 'main', skeinGrams: 50, skeinMetres: 125 }],
      yarn: {},
    });
    const per = yarnPerStitch(spec, spec.colours[0]!, { chain: 100, stitches: 100 })!;
    expect(per.value * 2.5 * 100).toBeCloseTo(Math.sqrt(21 / (2.2 * 3)), 3); // cm
  });

  it('the resting colour of a two-colour row is yarn used, though it makes no stitch (common practice)', () => {
    const carried = planPiece(BLANKET).yarn!;
    const cut = planPiece({ ...BLANKET, layout: { ...BLANKET.layout!, carried: false } as never }).yarn!;
    expect(carried.perColour[1]!.parts.carried).toBeGreaterThan(cut.perColour[1]!.parts.carried);
  });
});

describe('sizes', () => {
  it('US full-size crib mattress, 27 1/4 × 51 5/8 in (16 CFR part 1219; from memory)', () => {
    const crib = SIZE_PRESETS.find((each) => each.key === 'crib-mattress')!;
    expect(crib.widthMm).toBeCloseTo(27.25 * 25.4, 9);
    expect(crib.heightMm).toBeCloseTo(51.625 * 25.4, 9);
    expect(crib.forInfant).toBe(true);
  });

  it('anything for an infant carries the caution (American Academy of Pediatrics, safe-sleep recommendations)', () => {
    const plan = planPiece({ ...PLAIN, target: { ...PLAIN.target, forInfant: true } });
    expect(plan.cautions).toContainEqual(INFANT_CAUTION);
    expect(INFANT_CAUTION.message).toMatch(
      /loose bedding.*first year.*fringe.*buttons.*local guidance.*health professional/s,
    );
  });

  it('a blanket of a baby size carries it even when nobody says who it is for', () => {
    expect(planPiece(PLAIN).cautions[0]!.message).toContain(INFANT_CAUTION.message);
    expect(planPiece({ ...PLAIN, target: { widthMm: 1500, heightMm: 2000 } }).cautions).toEqual([]);
  });
});
