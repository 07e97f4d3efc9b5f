import { describe, expect, it } from 'vitest';
import {
  acrossWidth,
  checkPiece,
  combineParts,
  outlineBands,
  planPiece,
  rowsDone,
  type PartReading,
  type PlanSpec,
} from '../../calc/index.ts';
import { BLANKET } from './specs.ts';

const u = (value: number, standardUncertainty: number) => ({ value, standardUncertainty });

const part = (name: string, stitches: number, change: Partial<PartReading> = {}): PartReading => ({
  name,
  gauge: { stitchesPer10cm: u(stitches, 0.1), rowsPer10cm: u(10, 0.1) },
  localGauge: Array.from({ length: 10 }, (_, i) => ({
    alongRows: Math.floor(i / 2) / 4,
    stitchesPer10cm: stitches + (i % 2 ? 0.02 : -0.02),
    trust: 1,
  })),
  rowsCounted: null,
  rowsSeen: 20,
  ...change,
});

const PLAN: PlanSpec = {
  stitch: 'hdc',
  gauge: { stitchesPer10cm: u(14, 0.15), rowsPer10cm: u(10, 0.1) },
  target: { widthMm: 800, heightMm: 1000 },
};

describe('photos of parts', () => {
  it('give one gauge, no surer than the reader that read them all', () => {
    const one = combineParts([part('a', 14)], 60).gauge!.stitchesPer10cm;
    const four = combineParts(
      ['a', 'b', 'c', 'd'].map((name) => part(name, 14)),
      60,
    ).gauge!.stitchesPer10cm;
    expect(four.value).toBeCloseTo(14, 6);
    expect(four.standardUncertainty).toBeLessThan(one.standardUncertainty);
    expect(four.standardUncertainty).toBeGreaterThan(0.0055 * 14);
  });

  it('go from the first rows to the last when she does not say, and one alone ends at her row', () => {
    const { bands, assumedOrder } = combineParts([part('a', 14), part('b', 14), part('c', 14)], 60);
    expect(assumedOrder).toBe(true);
    expect(Math.min(...bands.map(({ row }) => row))).toBeLessThan(6);
    expect(Math.max(...bands.map(({ row }) => row))).toBeGreaterThan(55);
    const alone = combineParts([part('a', 14)], 60).bands;
    expect(Math.min(...alone.map(({ row }) => row))).toBeGreaterThanOrEqual(41);
  });

  it('keep the rows she names', () => {
    const { bands } = combineParts([part('a', 14, { rowsInView: { fromRow: 30, toRow: 40 } })], 60);
    for (const { row } of bands) expect(row >= 30 && row <= 40).toBe(true);
  });
});

describe('bands of an outline', () => {
  it('count the same stitches in every row, the border left out', () => {
    const [band] = outlineBands({
      widths: [{ at: 0.5, lengthMm: u(860, 4) }],
      stitches: 112,
      rowsDone: 60,
      borderDepthMm: 30,
    });
    expect(band).toMatchObject({ row: 30, stitchesPer10cm: { value: 14 } });
  });
});

describe('rows done', () => {
  const nothing = { told: null, counted: null, bodyHeightMm: null, rowsPer10cm: null };

  it('are hers, and the photo objects when it counts others', () => {
    const found = rowsDone({ ...nothing, told: 40, counted: u(42, 0.5) });
    expect(found).toMatchObject({ value: 40, from: 'told', difference: 2 });
    expect(found.message).toBe(
      'The photo shows 42 rows, 2 more than the 40 you are on: count again before you go on.',
    );
    expect(found.said).toEqual({ code: 'rowsDone.more', values: { n: 42, off: 2, told: 40 } });
    expect(rowsDone({ ...nothing, told: 40, counted: u(40, 0.5) }).message).toBeNull();
  });

  it('say that a photo which is one off may be out by one', () => {
    expect(rowsDone({ ...nothing, told: 40, counted: u(41, 0.4) })).toMatchObject({
      value: 40,
      difference: 1,
      message:
        'The photo shows 41 rows, and you are on 40. It may be out by one: count again before you go on.',
    });
    // where the photo itself is not sure to a row, it does not object
    expect(rowsDone({ ...nothing, told: 40, counted: u(41, 0.6) }).message).toBeNull();
  });

  it('come from the photo or the height when she does not say', () => {
    const either = { ...u(42, 0.45), orElse: 41 };
    expect(rowsDone({ ...nothing, counted: either })).toMatchObject({
      value: 42,
      said: { code: 'rowsDone.either', values: { low: 41, n: 42, taken: 42 } },
    });
    expect(rowsDone({ ...nothing, told: 41, counted: either }).said).toBeNull();
    expect(rowsDone({ ...nothing, told: 38, counted: either })).toMatchObject({
      difference: 4,
      message: 'The photo shows 41 or 42 rows, and you are on 38: count again before you go on.',
    });
    expect(rowsDone({ ...nothing, counted: u(42, 0.5) })).toMatchObject({ value: 42, from: 'counted' });
    expect(rowsDone({ ...nothing, bodyHeightMm: u(600, 4), rowsPer10cm: u(10, 0.1) })).toMatchObject({
      value: 60,
      from: 'height',
    });
    expect(rowsDone(nothing).value).toBeNull();
  });

  it('are doubted when the height has far fewer or more', () => {
    const found = rowsDone({ ...nothing, told: 70, bodyHeightMm: u(600, 4), rowsPer10cm: u(10, 0.1) });
    expect(found.difference).toBe(-10);
    expect(
      rowsDone({ ...nothing, told: 61, bodyHeightMm: u(600, 4), rowsPer10cm: u(10, 0.1) }).difference,
    ).toBeNull();
  });
});

describe('across the width', () => {
  const cells = (gaugeAt: (across: number) => number) =>
    [0.1, 0.3, 0.5, 0.7, 0.9].flatMap((acrossStitches, i) =>
      [0.1, 0.5, 0.9].map((alongRows, j) => ({
        alongRows,
        acrossStitches,
        stitchesPer10cm: gaugeAt(acrossStitches) + ((i + j) % 2 ? 0.02 : -0.02),
        trust: 1,
      })),
    );
  const photo = (name: string, gaugeAt: (across: number) => number) => ({ name, localGauge: cells(gaugeAt) });

  it('an even tension is even, also where photos differ from each other', () => {
    const found = acrossWidth([photo('a', () => 14), photo('b', () => 14.6)]);
    expect(found.status).toBe('even');
    expect(found.changePercent.value).toBeCloseTo(0, 0);
  });

  it('a hand that tightens towards one side is told, in per cent of what is in view', () => {
    const tightens = (change: number) => (x: number) => 14 * (1 + change * (x - 0.5));
    const right = acrossWidth([photo('a', tightens(0.08))]);
    expect(right.status).toBe('tighter-right');
    expect(right.changePercent.value).toBeCloseTo(8, 0);
    expect(right.message).toContain('to the right');
    // what one photo cannot tell from chance, four can
    expect(acrossWidth([photo('a', tightens(-0.04))]).status).toBe('even');
    const four = ['a', 'b', 'c', 'd'].map((name) => photo(name, tightens(-0.04)));
    expect(acrossWidth(four).status).toBe('tighter-left');
  });

  it('what a photo set straight may leave over is no tension', () => {
    expect(acrossWidth([photo('a', (x) => 14 * (1 + 0.02 * (x - 0.5)))]).status).toBe('even');
  });

  it('is unknown without places side by side', () => {
    expect(acrossWidth([part('a', 14)]).status).toBe('unknown');
    expect(acrossWidth([]).status).toBe('unknown');
  });
});

describe('checking a piece', () => {
  it('does not take a border for rows', () => {
    const parts = [part('whole', 13.5, { rowsCounted: 46 })];
    const counted = (borderRoundsDone: number) =>
      checkPiece({ plan: BLANKET, parts, rowsDone: 40, borderRoundsDone })!.rowsDone.counted;
    expect(counted(0)).toBe(46);
    expect(counted(2)).toBeNull();
  });

  it('does not take the rows of a part for those of the piece', () => {
    const parts = [part('a part', 14, { rowsCounted: 24 })];
    const size = (widthMm: number) => ({
      widthMm: u(widthMm, 3),
      heightMm: u(240, 3),
      widths: [],
      heights: [],
    });
    const counted = (widthMm: number) =>
      checkPiece({ plan: PLAN, parts, rowsDone: 60, size: size(widthMm) })!.rowsDone.counted;
    expect(counted(190)).toBeNull();
    expect(counted(800)).toBe(24);
    // nor what was counted four stitches at a time
    const coarse = [part('whole', 14 / 4, { rowsCounted: 15 })];
    expect(checkPiece({ plan: PLAN, parts: coarse, rowsDone: 60 })!.rowsDone.counted).toBeNull();
  });

  it('says one figure for the yarn, beside the yarn and in the way of going on', () => {
    const spec: PlanSpec = {
      ...BLANKET,
      // measured, so that gauge and border differ from the plan's
      yarn: { swatchWeight: { stitches: 20, rows: 14, grams: 14 } },
    };
    const { yarn, options } = checkPiece({
      plan: spec,
      parts: [part('a', 13.1), part('b', 13.1)],
      rowsDone: 40,
      yarn: [
        { colour: 'sand', gramsBefore: 400, gramsLeft: 300 },
        { colour: 'moss', gramsBefore: 300, gramsLeft: 190 },
      ],
    })!;
    const goOn = options.find(({ kind }) => kind === 'go-on')!;
    for (const one of yarn) {
      const same = goOn.yarn!.find(({ colour }) => colour === one.colour)!;
      expect(same.gramsNeeded.value).toBeCloseTo(one.remainingGrams.value, 6);
      expect(same.chanceOfRunningOut).toBeCloseTo(one.chanceOfRunningOut, 6);
    }
  });

  it('a finished border leaves nothing to work and nothing to guess', () => {
    const plan = planPiece(BLANKET);
    const { widthMm, heightMm } = plan.finished;
    const at = (length: number) => [0.08, 0.5, 0.92].map((share) => ({ at: share, lengthMm: u(length, 3) }));
    const { projection, options } = checkPiece({
      plan: BLANKET,
      parts: [],
      rowsDone: plan.rows,
      borderRoundsDone: 3,
      size: {
        widthMm: u(widthMm.value, 3),
        heightMm: u(heightMm.value, 3),
        widths: at(widthMm.value),
        heights: at(heightMm.value),
      },
    })!;
    expect(projection.widthMm.value).toBeCloseTo(widthMm.value, 6);
    expect(projection.widthMm.standardUncertainty).toBeCloseTo(3, 3);
    expect(projection.heightMm.standardUncertainty).toBeCloseTo(3, 0);
    for (const each of options) expect(each.borderRounds).toBe(3);
  });

  it('uses the outline for size and, without close photos, for drift', () => {
    const { stitches } = planPiece(PLAN);
    // 5 % wider at the top than at the bottom.
    const width = (at: number) => ((stitches * 100) / 14) * (1 + 0.05 * (at - 0.5));
    const places = [0.08, 0.22, 0.36, 0.5, 0.64, 0.78, 0.92];
    const checked = checkPiece({
      plan: PLAN,
      parts: [],
      rowsDone: 50,
      size: {
        widthMm: u(width(0.5), 4),
        heightMm: u(500, 4),
        widths: places.map((at) => ({ at, lengthMm: u(width(at), 3) })),
        heights: places.map((at) => ({ at, lengthMm: u(500, 3) })),
      },
    })!;
    expect(checked.drift.status).toBe('looser');
    expect(checked.sizeNow.heightMm!.value).toBe(500);
    expect(checked.projection.rowsLeft).toBe(planPiece(PLAN).rows - 50);
    expect(checked.options.length).toBeGreaterThan(1);
  });

  it('takes the yarn beyond the stitches neither for rows nor for a looser tension', () => {
    const { stitches, rows } = planPiece(PLAN);
    // 40 rows at the planned gauge, and what an outline has of foundation, loops and edges beside them.
    const stitchMm = 100 / 14;
    const widthMm = (stitches + 1.04) * stitchMm;
    const heightMm = 39.9 * 10 + 1.2 * stitchMm;
    const places = [0.08, 0.22, 0.36, 0.5, 0.64, 0.78, 0.92];
    const {
      projection,
      rowsDone: done,
      drift,
      sizeNow,
      options,
    } = checkPiece({
      plan: PLAN,
      parts: [],
      rowsDone: 40,
      size: {
        widthMm: u(widthMm, 1),
        heightMm: u(heightMm, 1),
        widths: places.map((at) => ({ at, lengthMm: u(widthMm, 1) })),
        heights: places.map((at) => ({ at, lengthMm: u(heightMm, 1) })),
      },
    })!;
    expect(sizeNow.heightMm!.value).toBe(heightMm);
    expect(drift.swatch!.differencePercent.value).toBeCloseTo(0, 6);
    expect(done.message).toBeNull();
    // the rows to come are as high as those done, and the finished piece ends where its yarn does
    expect(projection.rowHeightMm.value).toBeCloseTo(10, 6);
    expect(projection.heightMm.value).toBeCloseTo((rows - 0.1) * 10 + 1.2 * stitchMm, 6);
    expect(projection.widthMm.value).toBeCloseTo(widthMm, 6);
    const ends = options.find(({ kind }) => kind === 'go-on')!;
    expect(ends.heightMm.value).toBeCloseTo(projection.heightMm.value, 6);
    expect(ends.widthMm.value).toBeCloseTo(projection.widthMm.value, 6);
  });

  it('takes no swatch for the piece, and turns a piece that lies on its side', () => {
    const size = (widthMm: number, heightMm: number) => ({
      widthMm: u(widthMm, 3),
      heightMm: u(heightMm, 3),
      widths: [],
      heights: [],
    });
    const now = (widthMm: number, heightMm: number) =>
      checkPiece({ plan: PLAN, parts: [], rowsDone: 40, size: size(widthMm, heightMm) })!.sizeNow;
    expect(now(140, 150).widthMm).toBeNull();
    // About as high as it is wide: the way its rows run tells how it lies, or else its rows do.
    const lies = (rowsUpright: boolean | null, rowsDone: number) =>
      checkPiece({ plan: PLAN, parts: [], rowsDone, size: { ...size(720, 800), rowsUpright } })!.onItsSide;
    expect([lies(true, 60), lies(false, 60), lies(null, 72)]).toEqual([true, false, true]);
    expect(now(400, 800)).toMatchObject({ widthMm: { value: 800 }, heightMm: { value: 400 } });
    const turned = (widthMm: number, heightMm: number) =>
      checkPiece({ plan: PLAN, parts: [], rowsDone: 40, size: size(widthMm, heightMm) })!.onItsSide;
    expect([turned(400, 800), turned(800, 400), turned(140, 150)]).toEqual([true, false, false]);
  });

  it('takes photos that differ by a drift as parts of one line, not as a contradiction', () => {
    // 20 rows each, 0.03 stitches per 10 cm more from row to row
    const parts = [13.4, 14, 14.6].map((stitches, i) => {
      const steady = part(`photo ${i}`, stitches);
      const localGauge = steady.localGauge.map((one) => ({
        ...one,
        stitchesPer10cm: one.stitchesPer10cm! + 0.6 * (one.alongRows - 0.5),
      }));
      return { ...steady, localGauge };
    });
    const { drift, gauge, projection, options } = checkPiece({ plan: PLAN, parts, rowsDone: 60 })!;
    expect(drift.status).toBe('tighter');
    // in the middle of what is done, as surely as a reader reads it
    expect(gauge!.stitchesPer10cm.value).toBeCloseTo(14, 1);
    expect(gauge!.stitchesPer10cm.standardUncertainty).toBeLessThan(0.01 * 14);
    // 100 rows in all: the middle one, 20 rows on, has 14.6 per 10 cm, 4 % more
    const planned = planPiece(PLAN).finished.widthMm.value;
    expect(projection.widthMm.value / planned).toBeCloseTo(14 / 14.6, 2);
    expect(options.find(({ kind }) => kind === 'go-on')!.lastMinusFirstRowMm).toBeLessThan(-50);
  });

  it('one photo of a drift is read from the end where row 1 lies', () => {
    const loosens = part('whole', 14, { rowsCounted: 60 });
    const parts = [
      {
        ...loosens,
        localGauge: loosens.localGauge.map((one) => ({
          ...one,
          stitchesPer10cm: one.stitchesPer10cm! - 1.4 * (one.alongRows - 0.5),
        })),
      },
    ];
    const checked = checkPiece({ plan: PLAN, parts, rowsDone: 60 })!;
    expect(checked.drift.status).toBe('looser');
    expect(checked.driftRestsOnRowOne).toBe(true);
    expect(checkPiece({ plan: PLAN, parts, rowsDone: 60, rowOneAt: 'top' })!.drift.status).toBe('tighter');
    // Of a piece on its side row 1 is at the left, whichever way its rows were counted.
    const leftward = parts.map((one) => ({ ...one, rowAngleDeg: -170 }));
    expect(checkPiece({ plan: PLAN, parts: leftward, rowsDone: 60 })!.drift.status).toBe('tighter');
    const rightward = parts.map((one) => ({ ...one, rowAngleDeg: -10 }));
    expect(checkPiece({ plan: PLAN, parts: rightward, rowsDone: 60 })!.drift.status).toBe('looser');
    // photos from the first rows to the last tell the way by themselves
    const several = [part('a', 13.4), part('b', 14), part('c', 14.6)];
    const told = checkPiece({ plan: PLAN, parts: several, rowsDone: 60 })!;
    expect(told.drift.status).toBe('tighter');
    expect(told.driftRestsOnRowOne).toBe(false);
  });

  it('does not take what photos of one cloth differ by for a drift, and takes more for one', () => {
    const steadyness = (by: number, gaugeU: number) => {
      const photo = (name: string, share: number): PartReading => ({
        ...part(name, 14 * (1 + by * share)),
        gauge: { stitchesPer10cm: u(14 * (1 + by * share), gaugeU), rowsPer10cm: u(10, 0.1) },
        // a photo of 20 of 60 rows shows half of what lies between one photo and the next but one
        localGauge: part(name, 14).localGauge.map((one) => ({
          ...one,
          stitchesPer10cm: one.stitchesPer10cm! * (1 + by * (share + 0.5 * (one.alongRows - 0.5))),
        })),
      });
      return checkPiece({
        plan: PLAN,
        parts: [photo('a', 0), photo('b', 0.5), photo('c', 1)],
        rowsDone: 60,
      })!.drift.status;
    };
    // beside a card the scale is known to half a per cent, beside a sheet to a quarter
    expect(steadyness(0.01, 0.18)).toBe('steady');
    expect(steadyness(0.01, 0.16)).toBe('steady');
    expect(steadyness(0.035, 0.18)).toBe('tighter');
    expect(steadyness(0.02, 0.16)).toBe('tighter');
  });

  it('photos of parts tell which way the tension drifts, whichever way up they were taken', () => {
    const photo = (name: string, share: number, isTurned: boolean): PartReading => ({
      ...part(name, 14 * (1 + 0.04 * share)),
      localGauge: part(name, 14).localGauge.map((one) => ({
        ...one,
        alongRows: isTurned ? 1 - one.alongRows : one.alongRows,
        stitchesPer10cm: one.stitchesPer10cm! * (1 + 0.04 * (share + 0.5 * (one.alongRows - 0.5))),
      })),
    });
    for (const turned of [
      [false, false, false],
      [true, false, false],
      [true, true, true],
      [false, true, false],
    ]) {
      const parts = ['a', 'b', 'c'].map((name, i) => photo(name, i / 2, turned[i]!));
      const { drift, driftRestsOnRowOne } = checkPiece({ plan: PLAN, parts, rowsDone: 60 })!;
      expect(drift.status).toBe('tighter');
      // of 57 rows between the middles of the outermost bands
      expect(drift.changePercent.value).toBeGreaterThan(4.5);
      expect(drift.changePercent.value).toBeLessThan(7);
      expect(driftRestsOnRowOne).toBe(false);
    }
    // two photos of the same rows do not, and so they are believed to lie as she says
    const rowsInView = { fromRow: 21, toRow: 40 };
    const alike = ['a', 'b'].map((name) => ({ ...photo(name, 0.5, false), rowsInView }));
    const up = checkPiece({ plan: PLAN, parts: alike, rowsDone: 60 })!;
    const down = checkPiece({ plan: PLAN, parts: alike, rowsDone: 60, rowOneAt: 'top' })!;
    expect(up.driftRestsOnRowOne).toBe(true);
    expect(up.drift.changePercent.value).toBeCloseTo(2, 0);
    expect(down.drift.changePercent.value).toBeCloseTo(-2, 0);
  });

  it('finds a steady piece steady, and says nothing where nothing is known', () => {
    const parts = [part('a', 14), part('b', 14.03), part('c', 13.98)];
    expect(checkPiece({ plan: PLAN, parts, rowsDone: 60 })!.drift.status).toBe('steady');
    expect(checkPiece({ plan: PLAN, parts: [], rowsDone: null })).toBeNull();
  });
});
