/** A piece half done: where it ends, what can be done about it, whether the yarn holds. */
import { describe, expect, it } from 'vitest';
import {
  CalcError,
  STITCHES,
  planPiece,
  projectFinish,
  reviseOptions,
  updateYarnUse,
  type PlanSpec,
  type RevisedOption,
} from '../../calc/index.ts';
import { BLANKET, PLAIN } from './specs.ts';

const plan = planPiece(BLANKET);
const SPEC: PlanSpec = { ...BLANKET, hookMm: 5, fixed: { chain: plan.chain, rows: plan.rows } };
const precisely = (value: number, relative = 0.003) => ({ value, standardUncertainty: relative * value });

describe('projection to the finish', () => {
  it('a piece that grows as planned ends as planned', () => {
    const rowsDone = 40;
    const projection = projectFinish(SPEC, { rowsDone, bodyHeightMm: precisely((39.9 * 100) / 9.1) });
    expect(projection.rowsLeft).toBe(plan.rows - 40);
    expect(projection.heightMm.value).toBeCloseTo(plan.finished.heightMm.value, 6);
    expect(projection.widthMm.value).toBeCloseTo(plan.finished.widthMm.value, 6);
  });

  it('rows left × measured height: 5 % taller rows end 5 % taller', () => {
    const taller = projectFinish(SPEC, { rowsDone: 40, bodyHeightMm: precisely((39.9 * 105) / 9.1) });
    const body = plan.body.heightMm.value;
    // the border on top of the taller rows is as deep as it was
    expect(taller.heightMm.value).toBeCloseTo(1.05 * body + plan.border!.allowanceMm, 6);
    expect(taller.verdict.height).toBe('too-large');
    expect(taller.message).toContain('height too large');
  });

  it('is surer the more is done', () => {
    const at = (rowsDone: number) =>
      projectFinish(SPEC, {
        rowsDone,
        bodyHeightMm: { value: ((rowsDone - 0.1) * 100) / 9.1, standardUncertainty: 3 },
      }).heightMm.standardUncertainty;
    expect(at(70)).toBeLessThan(at(40));
    expect(at(40)).toBeLessThan(at(15));
  });

  it('takes the width from the piece when it was measured', () => {
    const projection = projectFinish(SPEC, { rowsDone: 40, bodyWidthMm: precisely(870) });
    expect(projection.widthMm.value).toBeCloseTo(870 + plan.border!.allowanceMm, -1);
  });

  it('says "not yet certain" while the interval is wide', () => {
    const vague = projectFinish(
      { ...PLAIN, fixed: { chain: 122, rows: 92 } },
      { rowsDone: 10, rowsPer10cm: { value: 9, standardUncertainty: 0.5 } },
    );
    expect(vague.verdict.height).toBe('unsure');
  });

  it('refuses more rows than the piece has', () => {
    expect(() => projectFinish(SPEC, { rowsDone: 500 })).toThrow(CalcError);
  });

  it('never started: the projection is the plan', () => {
    const projection = projectFinish(SPEC, { rowsDone: 0 });
    expect(projection.heightMm.value).toBeCloseTo(plan.finished.heightMm.value, 6);
  });
});

describe('ways to finish', () => {
  const progress = {
    rowsDone: 40,
    rowsPer10cm: precisely(8.6),
    stitchesPer10cm: precisely(13.2),
    gramsLeft: { sand: 230, moss: 130 },
  };
  const options = reviseOptions(SPEC, progress);
  const of = (kind: RevisedOption['kind'], among = options) => among.filter((each) => each.kind === kind);

  it('lists every way', () => {
    const kinds = new Set(options.map((each) => each.kind));
    expect([...kinds].sort()).toEqual([
      'change-hook',
      'fewer-border-rounds',
      'go-on',
      'other-rows',
      'rip-back',
      'swap-border-colour',
    ]);
  });

  it('going on is the projection', () => {
    const [goOn] = of('go-on');
    const projection = projectFinish(SPEC, progress);
    expect(goOn!.heightMm.value).toBeCloseTo(projection.heightMm.value, 6);
    expect(goOn!.heightMm.standardUncertainty).toBeCloseTo(projection.heightMm.standardUncertainty, 6);
    expect(goOn!.widthMm.value).toBeCloseTo(projection.widthMm.value, 6);
    expect(goOn!.rippedRows).toBe(0);
  });

  it('fewer rows bring a tall piece back to its height, and are legal in the pattern', () => {
    const best = of('other-rows')[0]!;
    expect(best.rows).toBeLessThan(plan.rows);
    expect(Math.abs(best.heightMm.value - 1016)).toBeLessThan(
      Math.abs(of('go-on')[0]!.heightMm.value - 1016),
    );
    const striped: PlanSpec = {
      ...SPEC,
      fixed: { chain: plan.chain, rows: 86 },
      rowRepeat: { m: 2 },
    };
    for (const each of of('other-rows', reviseOptions(striped, progress))) expect(each.rows % 2).toBe(0);
  });

  it('never proposes fewer rows than are done', () => {
    const late = reviseOptions(SPEC, { ...progress, rowsDone: plan.rows - 1 });
    for (const each of of('other-rows', late)) expect(each.rows).toBeGreaterThanOrEqual(plan.rows - 1);
  });

  it('a thinner hook narrows the rest and leaves the piece tapered', () => {
    const [thin] = of('change-hook').filter((each) => each.hookMm! < 5);
    expect(thin!.lastMinusFirstRowMm).toBeLessThan(0);
    expect(thin!.widthMm.value).toBeLessThan(of('go-on')[0]!.widthMm.value);
    expect(thin!.yarn![0]!.gramsNeeded.value).toBeLessThan(of('go-on')[0]!.yarn![0]!.gramsNeeded.value);
  });

  it('every border round less is narrower and takes less of the border colour', () => {
    const goOn = of('go-on')[0]!;
    const [two] = of('fewer-border-rounds').filter((each) => each.borderRounds === 2);
    expect(two!.widthMm.value).toBeLessThan(goOn.widthMm.value);
    expect(two!.yarn![0]!.gramsNeeded.value).toBeLessThan(goOn.yarn![0]!.gramsNeeded.value);
    expect(two!.yarn![1]!.gramsNeeded.value).toBeCloseTo(goOn.yarn![1]!.gramsNeeded.value, 9);
  });

  it('swapping the border colour moves its yarn to the other colour and leaves the size alone', () => {
    const goOn = of('go-on')[0]!;
    const [swap] = of('swap-border-colour');
    expect(swap!.borderColours).toEqual(['moss']);
    expect(swap!.heightMm).toEqual(goOn.heightMm);
    expect(swap!.yarn![0]!.gramsNeeded.value).toBeLessThan(goOn.yarn![0]!.gramsNeeded.value);
    expect(swap!.yarn![1]!.gramsNeeded.value).toBeGreaterThan(goOn.yarn![1]!.gramsNeeded.value);
  });

  describe('starting again is offered', () => {
    const ripsOf = (how: Parameters<typeof reviseOptions>[1], spec = SPEC) =>
      of('rip-back', reviseOptions(spec, how));

    it('not while the piece grows as planned: it would be the same piece', () => {
      const asPlanned = { rowsDone: 40, bodyHeightMm: precisely((39.9 * 100) / 9.1) };
      expect(ripsOf(asPlanned)).toEqual([]);
      expect(ripsOf({ ...asPlanned, gramsLeft: { sand: 400, moss: 400 } })).toEqual([]);
      expect(ripsOf({ rowsDone: 40 })).toEqual([]);
    });

    it('not where other rows bring it to the same size', () => {
      // as wide as planned, rows 5 % too tall: fewer rows put that right, and nothing is ripped
      expect(ripsOf({ rowsDone: 40, bodyHeightMm: precisely((39.9 * 105) / 9.1) })).toEqual([]);
    });

    it('where the width is wrong, which nothing else mends', () => {
      const [again] = ripsOf({ rowsDone: 40, stitchesPer10cm: precisely(0.93 * 13.5) });
      expect(again!.chain).not.toBe(plan.chain);
      const [goOn] = of(
        'go-on',
        reviseOptions(SPEC, { rowsDone: 40, stitchesPer10cm: precisely(0.93 * 13.5) }),
      );
      expect(again!.cost.size).toBeLessThan(goOn!.cost.size - 1);
    });

    it('whenever she asks about it', () => {
      expect(ripsOf({ rowsDone: 40, ripBackTo: [0] })).toHaveLength(1);
    });
  });

  it('starting again fits the chain to the gauge it really has, and gives the yarn back', () => {
    const again = of('rip-back').find((each) => each.ripBackTo === 0)!;
    expect(again.rippedRows).toBe(40);
    expect(again.rippedStitches).toBe(40 * plan.stitches);
    expect(again.yarn![1]!.gramsAvailable!).toBeGreaterThan(130);
    expect(again.lastMinusFirstRowMm).toBe(0);
  });

  it('ripping back to a row keeps the rows below it', () => {
    const [to20] = reviseOptions(SPEC, { ...progress, ripBackTo: [20] }).filter(
      (each) => each.ripBackTo === 20,
    );
    expect(to20!.rippedRows).toBe(20);
    expect(to20!.hookMm).not.toBeNull();
    const [at0] = of('rip-back');
    expect(to20!.yarn![0]!.gramsAvailable!).toBeLessThan(at0!.yarn![0]!.gramsAvailable!);
  });

  it('is ranked by what matters to her', () => {
    const totals = options.map((each) => each.cost.total);
    expect(totals).toEqual([...totals].sort((a, b) => a - b));
    const gentle = reviseOptions(SPEC, progress, { ripping: 10 });
    expect(gentle.at(-1)!.kind).toBe('rip-back');
    const sized = reviseOptions(SPEC, progress, { size: 10, yarn: 0, ripping: 0 });
    const off = (each: RevisedOption) => each.cost.size;
    expect(off(sized[0]!)).toBe(Math.min(...sized.map(off)));
    const thrifty = reviseOptions(SPEC, progress, { size: 0, yarn: 10, ripping: 0 });
    const least = Math.min(...thrifty.map((each) => each.chanceOfRunningOut!));
    expect(thrifty[0]!.chanceOfRunningOut!).toBeCloseTo(least, 6);
  });

  it('without weights there is size and yarn to come, but no chance of running out', () => {
    const { gramsLeft: _gramsLeft, ...unweighed } = progress;
    for (const each of reviseOptions(SPEC, unweighed)) {
      expect(each.chanceOfRunningOut).toBeNull();
      expect(each.yarn).not.toBeNull();
    }
  });

  it('says each in a sentence', () => {
    for (const each of options) expect(each.description).toMatch(/^[A-Z].*\.$/);
  });
});

describe('by hand, on a piece of round numbers', () => {
  // 122 chains of hdc are 120 stitches: at 12 per 10 cm 1000 mm; 90 rows at 9 per 10 cm are 1000 mm
  const ROUND: PlanSpec = {
    stitch: 'hdc',
    gauge: { stitchesPer10cm: precisely(12), rowsPer10cm: precisely(9) },
    target: { widthMm: 1000, heightMm: 1000 },
    multiple: { m: 1, plus: 0 },
    fixed: { chain: 122, rows: 90 },
    practice: { firstRowHeightRatio: 1 },
    hookMm: 5,
    colours: [{ id: 'main', skeinGrams: 100 }],
    yarn: { swatchWeight: { stitches: 20, rows: 14, grams: 14 } },
  };
  const find = (among: RevisedOption[], kind: RevisedOption['kind']) =>
    among.find((each) => each.kind === kind)!;

  it('has 120 stitches', () => expect(planPiece(ROUND).stitches).toBe(120));

  it('as planned, going on comes first: what gains next to nothing is not worth a change', () => {
    const [first, ...rest] = reviseOptions(ROUND, { rowsDone: 45, rowsPer10cm: precisely(8.97) });
    expect(first!.kind).toBe('go-on');
    // 89 rows at 8.97 are 992 mm, 90 are 1003 mm: nearer by a third of a per cent is no reason
    expect(rest.map(({ kind }) => kind)).toContain('other-rows');
  });

  it('a drift goes on: the mean width is that of the middle row, and the last row narrower than the first', () => {
    // a drift of −0.2222 % a row: the last of 90 rows is 20 % of the mean narrower than the first
    const perRow = { value: -0.2 / 89, standardUncertainty: 0.0001 };
    const done = { rowsDone: 90, stitchesPer10cm: precisely(12), widthPerRow: perRow };
    const goOn = find(reviseOptions(ROUND, done), 'go-on');
    expect(goOn.lastMinusFirstRowMm).toBeCloseTo(-200, 6);
    expect(goOn.widthMm.value).toBeCloseTo(1000, 6);
    // half done, the gauge is that of the middle of the 45 rows seen, and the rest goes on narrowing
    const half = { ...done, rowsDone: 45 };
    expect(find(reviseOptions(ROUND, half), 'go-on').widthMm.value).toBeCloseTo(
      1000 * (1 - (0.2 / 89) * 22.5),
      6,
    );
    expect(projectFinish(ROUND, half).widthMm).toEqual(find(reviseOptions(ROUND, half), 'go-on').widthMm);
  });

  it('where the tension drifts, ripping back to the last row of the planned width is a way', () => {
    const drifting = {
      rowsDone: 60,
      stitchesPer10cm: precisely(12.4),
      widthPerRow: { value: -0.0012, standardUncertainty: 0.0002 },
    };
    const rip = find(reviseOptions(ROUND, drifting, { size: 4 }), 'rip-back');
    // 12 ÷ 12.4 × (1 − 0.0012 × (row − 30.5)) is 0.99 at row 11.5
    expect(rip.ripBackTo).toBe(11);
    expect(rip.rippedRows).toBe(49);
    // the rows to come are 1000 mm wide again
    expect(rip.widthMm.value).toBeGreaterThan(990);
  });

  it('the outline and close photos give one width, the surer of the two, to the projection and to going on', () => {
    const both = {
      rowsDone: 45,
      bodyWidthMm: precisely(1010, 0.002),
      stitchesPer10cm: precisely(11.7, 0.01),
    };
    const goOn = find(reviseOptions(ROUND, both), 'go-on');
    expect(goOn.widthMm.value).toBeCloseTo(1010, 6);
    expect(projectFinish(ROUND, both).widthMm).toEqual(goOn.widthMm);
  });

  it('going on takes the stitches of the rows left: 45 × 120 and two turning chains to each', () => {
    const goOn = find(
      reviseOptions(ROUND, { rowsDone: 45, gramsPerStitch: { main: precisely(0.05) } }),
      'go-on',
    );
    // a chain of hdc takes 1 ÷ 1.85 of a stitch's yarn; tails of 2 × 150 mm without a label weigh next to nothing
    const stitches = 45 * 120 * 0.05;
    expect(goOn.yarn![0]!.gramsNeeded.value).toBeGreaterThan(stitches);
    expect(goOn.yarn![0]!.gramsNeeded.value).toBeLessThan(1.02 * stitches);
  });
});

describe('a border that is begun', () => {
  const done = { rowsDone: plan.rows, borderRoundsDone: 2, gramsLeft: { sand: 40, moss: 10 } };
  const options = reviseOptions(SPEC, done);
  const goOn = options.find((each) => each.kind === 'go-on')!;

  it('needs yarn for the rounds that are left only', () => {
    const { perColour } = planPiece({ ...SPEC, practice: { keepSwatch: false } }).yarn!;
    const [sand, moss] = goOn.yarn!;
    expect(sand!.gramsNeeded.value).toBeGreaterThan(0.25 * perColour[0]!.parts.border);
    expect(sand!.gramsNeeded.value).toBeLessThan(0.45 * perColour[0]!.parts.border);
    expect(moss!.gramsNeeded.value).toBeCloseTo(0, 9);
  });

  it('cannot end with fewer rounds than there are, nor change their colour', () => {
    expect(
      options.filter((each) => each.kind === 'fewer-border-rounds').map((each) => each.borderRounds),
    ).toEqual([2]);
    const swap = options.find((each) => each.kind === 'swap-border-colour')!;
    expect(swap.borderColours).toEqual(['sand', 'moss']);
    expect(swap.description).toBe('Work the rest of the border in Moss.');
  });

  it('comes back as yarn when all is ripped', () => {
    const at = (borderRoundsDone: number) =>
      reviseOptions(SPEC, { ...done, borderRoundsDone, ripBackTo: [0] }).find(
        (each) => each.kind === 'rip-back',
      )!.yarn![0]!.gramsAvailable!;
    expect(at(2) - at(0)).toBeGreaterThan(10);
  });

  it('counts among the stitches that the scale has weighed', () => {
    const perStitch = (borderRoundsDone: number) =>
      updateYarnUse(SPEC, [
        { colour: 'sand', gramsBefore: 400, gramsLeft: 150, rowsDone: plan.rows, borderRoundsDone },
      ])[0]!.observed!;
    expect(perStitch(3).value).toBeLessThan(0.95 * perStitch(0).value);
    expect(perStitch(3).standardUncertainty / perStitch(3).value).toBeGreaterThan(
      perStitch(0).standardUncertainty / perStitch(0).value,
    );
  });
});

describe('yarn learnt from the scale', () => {
  const use = { colour: 'moss', gramsBefore: 300, rowsDone: 40, standardUncertaintyG: 0.4 };
  const expected = planPiece({ ...SPEC, practice: { keepSwatch: false } }).yarn!.perColour[1]!;

  it('weights that agree with the swatch narrow it and hardly move it', () => {
    // what the plan itself expects of 40 rows
    const soFar =
      expected.grams.value -
      updateYarnUse(SPEC, [{ ...use, gramsLeft: 180 }]).map(
        ({ updated, prior, remainingGrams }) => (remainingGrams.value * prior!.value) / updated.value,
      )[0]!;
    const [moss] = updateYarnUse(SPEC, [{ ...use, gramsLeft: 300 - soFar }]);
    expect(Math.abs(moss!.surprise!)).toBeLessThan(0.6);
    expect(moss!.updated.standardUncertainty).toBeLessThan(moss!.prior!.standardUncertainty);
  });

  it('is the conjugate normal update: precisions add, means are weighed by them', () => {
    const [moss] = updateYarnUse(SPEC, [{ ...use, gramsLeft: 170 }]);
    const { prior, observed, updated } = moss!;
    const precision = (each: { standardUncertainty: number }) => 1 / each.standardUncertainty ** 2;
    expect(precision(updated)).toBeCloseTo(precision(prior!) + precision(observed!), 3);
    const mean =
      (prior!.value * precision(prior!) + observed!.value * precision(observed!)) / precision(updated);
    expect(updated.value).toBeCloseTo(mean, 9);
    expect(observed!.standardUncertainty).toBeLessThan(prior!.standardUncertainty);
  });

  it('keeps the carried strands apart', () => {
    const carried = updateYarnUse(SPEC, [{ ...use, gramsLeft: 170 }])[0]!;
    const hanging = updateYarnUse({ ...SPEC, layout: { ...SPEC.layout!, carried: false } as never }, [
      { ...use, gramsLeft: 170 },
    ])[0]!;
    // 40 rows of half the width, 2 m/g: 40 × 0.42 m × 1.05 ÷ 2
    expect(carried.strandGrams).toBeGreaterThan(8);
    expect(carried.strandGrams).toBeLessThan(10);
    expect(hanging.strandGrams).not.toBeCloseTo(carried.strandGrams, 0);
  });

  it('a thirsty piece needs more skeins, and says how surprising that is', () => {
    const [modest] = updateYarnUse(SPEC, [{ ...use, gramsLeft: 185 }]);
    const [thirsty] = updateYarnUse(SPEC, [{ ...use, gramsLeft: 150 }]);
    expect(thirsty!.surprise!).toBeGreaterThan(3);
    expect(thirsty!.remainingGrams.value).toBeGreaterThan(modest!.remainingGrams.value);
    expect(thirsty!.chanceOfRunningOut).toBeGreaterThan(modest!.chanceOfRunningOut);
    expect(modest!.skeinsToBuy).toBe(0);
    expect(
      updateYarnUse(SPEC, [{ ...use, gramsBefore: 160, gramsLeft: 20 }])[0]!.skeinsToBuy,
    ).toBeGreaterThanOrEqual(2);
  });

  it('knitting on the needle is not bound off yet', () => {
    const knit: PlanSpec = {
      ...PLAIN,
      stitch: 'stockinette',
      fixed: { chain: 100, rows: 60 },
      colours: [{ id: 'main' }],
    };
    const [main] = updateYarnUse(knit, [{ colour: 'main', gramsBefore: 300, gramsLeft: 200, rowsDone: 10 }]);
    // 10 rows and a cast-on of 100, which takes as much as 100 ÷ yarnInChains stitches
    const chains = 100 / STITCHES.stockinette.yarnInChains;
    expect(main!.observed!.value).toBeCloseTo(100 / (1000 + chains), 4);
  });

  it('a colour whose turn has not come is reckoned from what the others used', () => {
    const striped: PlanSpec = {
      ...SPEC,
      border: null,
      fixed: { chain: plan.chain, rows: 80 },
      layout: {
        kind: 'stripes',
        stripes: [
          { colour: 'sand', rows: 40 },
          { colour: 'moss', rows: 40 },
        ],
      },
    };
    const [sand, moss] = updateYarnUse(striped, [
      { colour: 'sand', gramsBefore: 400, gramsLeft: 220, rowsDone: 30 },
      { colour: 'moss', gramsBefore: 300, gramsLeft: 300, rowsDone: 30 },
    ]);
    expect(moss!.observed).toBeNull();
    expect(moss!.surprise).toBeNull();
    expect(moss!.updated.value).toBeGreaterThan(moss!.prior!.value);
    expect(moss!.updated.value).toBeLessThan(sand!.observed!.value);
  });

  it('refuses weights that cannot be', () => {
    expect(() => updateYarnUse(SPEC, [{ ...use, gramsLeft: 400 }])).toThrow(CalcError);
    expect(() => updateYarnUse(SPEC, [{ ...use, gramsLeft: 299 }])).toThrow(/none of it went into/);
    expect(() => updateYarnUse(SPEC, [{ ...use, colour: 'red', gramsLeft: 200 }])).toThrow(CalcError);
  });
});
