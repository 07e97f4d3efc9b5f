import { describe, expect, it } from 'vitest';
import { double } from '../../vision/scale/ruler/double.ts';
import { findRulerScales } from '../../vision/scale/ruler/findRulerScales.ts';
import { nameGraduation } from '../../vision/scale/ruler/nameGraduation.ts';
import { knowWorkHeight } from '../../vision/scale/knowWorkHeight.ts';
import { mmPerPxAt } from '../../vision/scale/lens.ts';
import type { Scale } from '../../vision/types.ts';
import { drawRuler, type RulerDrawing } from './rulerDrawing.ts';

const both: ('ruler' | 'tape')[] = ['ruler', 'tape'];

const BESIDE: Partial<RulerDrawing> = { widthPx: 1200, heightPx: 900, pxPerMm: 5, lengthMm: 160 };

/** Finds the scale of a drawn picture and how far it is from the truth at the ruler, relative. */
function readDrawing(options: Partial<RulerDrawing>) {
  const drawing = drawRuler({ ...BESIDE, ...options });
  const scales = findRulerScales(drawing.photo, { kinds: both });
  const scale = scales[0];
  if (!scale) return { scales, scale: null, error: NaN, stated: NaN };
  const x = scale.outlinePx.reduce((s, p) => s + p.x, 0) / scale.outlinePx.length;
  const y = scale.outlinePx.reduce((s, p) => s + p.y, 0) / scale.outlinePx.length;
  const size = { widthPx: 1200, heightPx: 900 };
  const read = mmPerPxAt(scale.homographyPxToMm, scale.radialDistortion, { x, y }, size);
  return { scales, scale, error: read / drawing.mmPerPxAt(x, y) - 1, stated: scale.relativeUncertainty };
}

describe('a ruler beside the work', () => {
  it.each([
    ['millimetres', { edges: ['metric', 'none'] }, 'metric'],
    ['sixteenths of an inch', { edges: ['inch-16', 'none'] }, 'inch'],
    ['eighths of an inch', { edges: ['inch-8', 'none'], lengthMm: 200 }, 'inch'],
    [
      'eighths with their numbers beside them',
      { edges: ['inch-8', 'none'], lengthMm: 200, numeralsBeside: true },
      'inch',
    ],
    ['millimetres on one edge and inches on the other', { edges: ['metric', 'inch-16'] }, 'both'],
    ['light ticks on a dark body', { edges: ['metric', 'none'], body: 0.2, ink: 0.9 }, 'metric'],
    ['ticks of only 3.5 px', { edges: ['metric', 'none'], pxPerMm: 3.5 }, 'metric'],
    ['ticks of only 2.2 px', { edges: ['metric', 'none'], pxPerMm: 2.2, lengthMm: 200 }, 'metric'],
    ['a ruler turned upside down', { edges: ['metric', 'none'], rotationDeg: 190 }, 'metric'],
    [
      'a ruler turned upright',
      { edges: ['inch-16', 'none'], rotationDeg: 84, offsetMm: { x: 30, y: 0 } },
      'inch',
    ],
  ] as [string, Partial<RulerDrawing>, string][])('is read: %s', (_what, options, variety) => {
    const { scale, error } = readDrawing(options);
    expect(scale?.variety).toBe(variety);
    expect(scale?.confidence).toBeGreaterThan(0.5);
    // the picture is drawn in the ruler's own plane; the scale is given for cloth half a millimetre higher
    expect(Math.abs(error)).toBeLessThan(0.006);
  });

  it('gives the plane it lies in when the phone was tilted', () => {
    const { scale, error } = readDrawing({ edges: ['metric', 'inch-16'], tiltDeg: 25, tiltTowardsDeg: 120 });
    expect(scale!.tiltDeg).toBeGreaterThan(23);
    expect(scale!.tiltDeg).toBeLessThan(27);
    expect(Math.abs(error)).toBeLessThan(0.008);
  });

  it('may be held against something else that tells how the table leans', () => {
    const { scale } = readDrawing({ edges: ['metric', 'none'], tiltDeg: 15, tiltTowardsDeg: 90 });
    const size = { widthPx: 1200, heightPx: 900 };
    const truth = drawRuler({ ...BESIDE, edges: ['metric', 'none'], tiltDeg: 15, tiltTowardsDeg: 90 });
    // what the scale says of a place far above the ruler against the truth
    const above = { x: 600, y: 80 };
    const off = (by: Pick<Scale, 'homographyPxToMm' | 'radialDistortion'>): number =>
      Math.log(
        mmPerPxAt(by.homographyPxToMm, by.radialDistortion, above, size) / truth.mmPerPxAt(above.x, above.y),
      );
    const held = scale!.heldAgainst!((by) => [off(by)], [{ sd: [0.002], share: 1 }])!;
    expect(Math.abs(off(held))).toBeLessThan(0.004);
    expect(Math.abs(off(held))).toBeLessThan(Math.abs(off(scale!)));
    expect(held.kind).toBe(scale!.kind);
    expect(held.variations!.length).toBeGreaterThan(0);
  });

  it('says how uncertain it is, more so further away', () => {
    const { scale, error, stated } = readDrawing({ edges: ['metric', 'none'], tiltDeg: 15 });
    expect(Math.abs(error)).toBeLessThan(2.5 * stated);
    expect(stated).toBeGreaterThan(0.001);
    expect(stated).toBeLessThan(0.03);
    expect(scale!.relativeUncertaintyPerReferenceLength).toBeGreaterThanOrEqual(0);
    expect(scale!.homographyCovariance).toHaveLength(81);
  });
});

describe('a tape lying in a curve', () => {
  it('is read along the curve and called a tape', () => {
    const { scale, error } = readDrawing({
      edges: ['metric', 'none'],
      radiusMm: 600,
      bodyWidthMm: 16,
      lengthMm: 180,
    });
    expect(scale?.kind).toBe('tape');
    expect(scale?.variety).toBe('metric');
    expect(Math.abs(error)).toBeLessThan(0.012);
    expect(scale!.confidence).toBeGreaterThan(0.8);
  });

  it('is never sure when it is seen steeply as well: bend and tilt look alike', () => {
    const { scale } = readDrawing({
      edges: ['metric', 'none'],
      radiusMm: 600,
      bodyWidthMm: 16,
      lengthMm: 180,
      tiltDeg: 32,
    });
    expect(scale?.kind).toBe('tape');
    expect(scale!.confidence).toBeLessThan(0.8);
  });
});

describe('ticks that may lie in a bend, on a slope, or behind a lens', () => {
  // converging ticks and a bowed edge are a bend here; as a tilt they would give another scale beside the tape
  const seen: Partial<RulerDrawing> = {
    edges: ['metric', 'none'],
    bodyWidthMm: 16,
    lengthMm: 180,
    tiltDeg: 25,
  };

  it.each([
    ['straight', Infinity, 26],
    ['in a slight bend', 2200, 26],
    ['in a clear bend', 1100, 26],
    // the file does not say so
    ['straight, through a long lens', Infinity, 72],
  ])('are as exact beside the tape as is said of them: %s', (_what, radiusMm, focal35mm) => {
    const drawing = drawRuler({ widthPx: 1200, heightPx: 900, pxPerMm: 5, ...seen, radiusMm, focal35mm });
    const scale = findRulerScales(drawing.photo, { kinds: both })[0]!;
    // 100 mm away, where the work would be; the tape is 180 mm long
    const away = { x: 600, y: 250 };
    const read = mmPerPxAt(scale.homographyPxToMm, scale.radialDistortion, away, {
      widthPx: 1200,
      heightPx: 900,
    });
    const stated = Math.hypot(
      scale.relativeUncertainty,
      (scale.relativeUncertaintyPerReferenceLength * 100) / 180,
    );
    expect(Math.abs(Math.log(read / drawing.mmPerPxAt(away.x, away.y)))).toBeLessThan(2.5 * stated);
    expect(stated).toBeLessThan(0.03);
  });
});

describe('what is no ruler', () => {
  it.each([
    ['knitted cloth', { background: 'knit' }],
    ['gingham', { background: 'gingham' }],
    ['stripes', { background: 'stripes' }],
    ['grain', { background: 'grain', tableGrain: 0.3 }],
  ] as [string, Partial<RulerDrawing>][])('gives no scale: %s', (_what, options) => {
    const { scales } = readDrawing({ bodyWidthMm: 0, edges: ['none', 'none'], ...options });
    expect(scales.filter((s) => s.confidence >= 0.5)).toEqual([]);
  });

  it.each([
    ['ticks all of one length', 'even'],
    ['longer ticks at every third and sixth, which no ruler has', 'half-metric-wrong'],
  ] as const)('is not guessed at: %s', (_what, edge) => {
    const { scales } = readDrawing({ edges: [edge, 'none'], numerals: false });
    expect(scales.filter((s) => s.confidence >= 0.5)).toEqual([]);
  });
});

describe('ticks that do not tell their unit', () => {
  // long and short in turn may be 5 mm and 10 mm, or halves and whole inches
  it('are shown as both units, and measured with as neither', () => {
    const { scales } = readDrawing({ edges: ['5-mm', 'none'], numerals: false, pxPerMm: 4 });
    expect(new Set(scales.map((s) => s.variety))).toEqual(new Set(['metric', 'inch']));
    for (const s of scales) {
      expect(s.confidence).toBeLessThan(0.2);
      expect(s.advice.map((a) => a.code)).toContain('ruler-units-unclear');
    }
  });
});

describe('a ruler that lies on the cloth', () => {
  // a square of cloth 100 mm wide under a ruler of 160 mm: both its ends lie off the cloth
  const at = (x: number, y: number) => ({ x: 600 + 5 * x, y: 450 + 5 * y });
  const cloth = (top: number, bottom: number) => [at(-80, top), at(20, top), at(20, bottom), at(-80, bottom)];

  it('lies nearer to the camera than one beside it, so the cloth is larger than it seems', () => {
    const { scale } = readDrawing({ edges: ['metric', 'none'], rotationDeg: 0, lengthMm: 160 });
    expect(scale!.workHeight!.relativePerMm).toBeLessThan(0);
    const over = knowWorkHeight(scale!, 5, cloth(0, 80)).factor;
    const beside = knowWorkHeight(scale!, 5, cloth(-70, 10)).factor;
    expect(over).toBeGreaterThan(1);
    expect(beside).toBeLessThan(over);
  });

  it('may lie on it or beside it where the outline of the cloth ends at the ruler', () => {
    const { scale } = readDrawing({ edges: ['metric', 'none'], rotationDeg: 0, lengthMm: 160 });
    const [over, touching, beside] = [cloth(0, 80), cloth(-70, 22), cloth(-70, 10)].map((outline) =>
      knowWorkHeight(scale!, 5, outline),
    );
    expect(touching!.factor).toBeLessThan(over!.factor);
    expect(touching!.factor).toBeGreaterThan(beside!.factor);
    expect(touching!.relativeUncertainty).toBeGreaterThan(beside!.relativeUncertainty);
  });
});

describe('a card that lies on the cloth', () => {
  const corners = [0, 1, 2, 3].map((i) => ({ x: [100, 300, 300, 100][i]!, y: [100, 100, 226, 226][i]! }));
  const scale: Scale = {
    kind: 'card',
    variety: 'id-1',
    homographyPxToMm: [0.428, 0, 0, 0, 0.428, 0, 0, 0, 1],
    homographyCovariance: null,
    mmPerPx: 0.428,
    tiltDeg: 0,
    relativeUncertainty: 0.01,
    relativeUncertaintyPerReferenceLength: 0.001,
    outlinePx: corners,
    radialDistortion: null,
    confidence: 1,
    advice: [],
    workHeight: { meanMm: 3, sdMm: 2, faceHeightMm: 0.8, relativePerMm: -0.003 },
  };
  // What is seen of the cloth: a square of which the card covers the middle of the upper side.
  const bay = [
    { x: 50, y: 90 },
    { x: 95, y: 90 },
    { x: 95, y: 230 },
    { x: 305, y: 230 },
    { x: 305, y: 90 },
    { x: 400, y: 90 },
    { x: 400, y: 440 },
    { x: 50, y: 440 },
  ];
  const beside = bay.map((p) => ({ ...p, y: Math.max(p.y, 240) }));

  it('is told from one beside it, even where it leaves a bay in the outline', () => {
    expect(knowWorkHeight(scale, 5, bay).factor).toBeGreaterThan(1.01);
    expect(knowWorkHeight(scale, 5, beside).factor).toBeLessThan(1.01);
  });

  it('is not lifted by stitches twice their width when they were hardly followed', () => {
    const heightOf = (widthMm: number, isFaint?: boolean) =>
      -Math.log(knowWorkHeight(scale, widthMm, beside, isFaint).factor) / 0.003;
    expect(heightOf(14) - heightOf(7)).toBeGreaterThan(2);
    expect(heightOf(14, true) - heightOf(7, true)).toBeLessThan(1);
    const doubt = (isFaint: boolean) => knowWorkHeight(scale, 7, beside, isFaint).relativeUncertainty;
    expect(doubt(true)).toBeGreaterThan(doubt(false));
  });
});

describe('naming a graduation from the ticks’ lengths', () => {
  // lengths as shares of the longest tick; 1 mm / 5 mm / 10 mm and 1/16 … 1 in are common practice
  const metric = (k: number): number => (k % 10 === 0 ? 7 : k % 5 === 0 ? 5 : 3);
  const inch16 = (k: number): number =>
    k % 16 === 0 ? 11 : k % 8 === 0 ? 9 : k % 4 === 0 ? 7 : k % 2 === 0 ? 5 : 3;
  const run = (from: number, count: number): number[] => Array.from({ length: count }, (_, i) => from + i);
  /** The same deviates every time, about ± 0.5 px. */
  const shake = (k: number): number => Math.sin(k * 12.9898) * 0.5;

  it('knows millimetres wherever the run begins', () => {
    for (const from of [0, 3, 7, 14]) {
      const index = run(from, 45);
      const named = nameGraduation(
        index,
        index.map((k) => 2 * metric(k) + shake(k)),
      );
      expect(named?.key).toBe('metric');
      expect(named?.phase).toBe(0);
    }
  });

  it('knows sixteenths of an inch', () => {
    const index = run(5, 60);
    const named = nameGraduation(
      index,
      index.map((k) => 2 * inch16(k) + shake(k)),
    );
    expect(named?.key).toBe('inch-16');
  });

  it('knows quarters of an inch, but not ticks that are long and short in turn', () => {
    const index = run(2, 40);
    const quarters = index.map((k) => 2 * (k % 4 === 0 ? 9 : k % 2 === 0 ? 7 : 5) + shake(k));
    expect(nameGraduation(index, quarters)?.key).toBe('inch-4');
    const inTurn = index.map((k) => 2 * (k % 2 === 0 ? 9 : 5) + shake(k));
    expect(nameGraduation(index, inTurn)).toBeNull();
  });

  it('does not care how large the picture is', () => {
    const index = run(0, 50);
    for (const size of [1.5, 4, 12]) {
      expect(
        nameGraduation(
          index,
          index.map((k) => size * metric(k) + shake(k)),
        )?.key,
      ).toBe('metric');
    }
  });

  it('is not misled by numerals that touch some of the longest ticks', () => {
    const index = run(0, 70);
    const named = nameGraduation(
      index,
      index.map((k) => 2 * inch16(k) + shake(k) + (k % 16 === 0 ? 9 : 0)),
    );
    expect(named?.key).toBe('inch-16');
  });

  it('does not take a thirty-second of an inch for a sixteenth', () => {
    const index = run(0, 140);
    const named = nameGraduation(
      index,
      index.map((k) => (k % 32 === 0 ? 26 : k % 2 === 1 ? 3 : 2 * inch16(k / 2)) + shake(k)),
    );
    expect(named).toBeNull();
  });

  it('refuses a run too short or without a pattern', () => {
    const short = run(0, 9);
    expect(nameGraduation(short, short.map(metric))).toBeNull();
    const noise = run(0, 60);
    expect(
      nameGraduation(
        noise,
        noise.map((k) => 8 + 5 * shake(k * 7)),
      ),
    ).toBeNull();
  });
});

describe('a doubled picture', () => {
  it('has the values of a slope a quarter of a pixel before and after each sample, to 2 % of its step', () => {
    const widthPx = 16;
    const heightPx = 14;
    const data = Float32Array.from(
      { length: widthPx * heightPx },
      (_, i) => 2 * (i % widthPx) + 10 * Math.floor(i / widthPx),
    );
    const twice = double({ widthPx, heightPx, data });
    expect([twice.widthPx, twice.heightPx]).toEqual([32, 28]);
    // four samples from the border and more, where the interpolation sees no border
    for (let y = 8; y < 20; y++)
      for (let x = 8; x < 24; x++) {
        const exact = 2 * (x / 2 - 0.25) + 10 * (y / 2 - 0.25);
        expect(Math.abs(twice.data[y * 32 + x]! - exact)).toBeLessThan(0.02 * (2 + 10));
      }
  });
});
