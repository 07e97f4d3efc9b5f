import { describe, expect, it } from 'vitest';
import { seeNumberedScale } from '../../vision/scale/ruler/numberedScale.ts';
import { rulerScales } from '../../vision/scale/ruler/findRulerScales.ts';
import { confidenceOf, readGraduations, type Reading } from '../../vision/scale/ruler/readGraduations.ts';
import type { Tick } from '../../vision/scale/ruler/readTicks.ts';
import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';
import type { SightedRulers } from '../../vision/sight/sightRulers.ts';
import type { DecodedPhoto } from '../../vision/types.ts';
import { plainBand } from './blankBand.ts';
import { drawRuler, type RulerDrawing } from './rulerDrawing.ts';

const PITCH = 20;
const MARKS = 24;
const REACH = 40;

/** A tape 32 px wide laid out straight: marks every 20 px, and figures beyond those that `isNumbered` says. */
function tape(isNumbered: (mark: number) => boolean): { band: StraightBand; ticks: Tick[] } {
  const columns = (MARKS + 2) * PITCH;
  const rows = 2 * REACH + 1;
  const data = new Float32Array(columns * rows);
  const chance = (k: number): number => {
    const v = Math.sin(k * 12.9898) * 43758.5453;
    return v - Math.floor(v);
  };
  for (let r = 0; r < rows; r++)
    for (let i = 0; i < columns; i++) {
      const across = r - REACH;
      const mark = Math.round(i / PITCH) - 1;
      const off = i - (mark + 1) * PITCH;
      let v = 0.4 + 0.1 * chance(i + 1000 * r);
      if (across >= -10 && across < 22) {
        v = 0.85 + 0.02 * chance(i + 1000 * r);
        if (across < -2 && Math.abs(off) < 2) v -= 0.4;
        // figures: strokes that differ from mark to mark
        const [u, w] = [Math.floor((off + 6) / 3), Math.floor((across - 4) / 3)];
        if (isNumbered(mark) && u >= 0 && u < 4 && w >= 0 && w < 4 && chance(17 * mark + 4 * u + w) > 0.4)
          v -= 0.5;
      }
      data[r * columns + i] = v;
    }
  const band = plainBand({ data, columns, rows, zero: REACH, pitch: PITCH });
  const ticks = Array.from({ length: MARKS }, (_, k) => ({
    index: k,
    along: (k + 1) * PITCH,
    nearness: 1,
    reachUp: 4,
    reachDown: 4,
    strength: 1,
  }));
  return { band, ticks };
}

const sightedWhere = (isOn: SightedRulers['isOn']): SightedRulers => ({
  edges: [],
  isAt: isOn,
  isOn,
  bodies: () => [],
});

const see = (isNumbered: (mark: number) => boolean, isOn = (p: { y: number }) => p.y > -12 && p.y < 19) => {
  const { band, ticks } = tape(isNumbered);
  const level = { image: { widthPx: 1, heightPx: 1, data: new Float32Array(1) }, factor: 1 };
  return seeNumberedScale(level, band, ticks, -1, sightedWhere(isOn));
};

describe('marks of a scale too coarse to tell their unit', () => {
  it('are known by how far apart they lie for its width, and by each having a number', () => {
    const seen = see(() => true);
    expect(seen?.pitchOfWidth).toBeCloseTo(PITCH / 32, 1);
    expect(seen?.numbers).toBe('each');
  });

  it.each([
    ['halves', (mark: number) => mark % 2 === 0, 'even'],
    ['halves counted from one of them', (mark: number) => mark % 2 !== 0, 'odd'],
  ])('are %s where only every other has one', (_name, isNumbered, numbers) => {
    expect(see(isNumbered)?.numbers).toBe(numbers);
  });

  it('are not taken to be numbered where every fourth is, or none', () => {
    expect(see((mark) => mark % 4 === 1)?.numbers).not.toBe('each');
    expect(see(() => false)?.numbers).toBe('unseen');
  });

  it('are not taken to be numbered where the other edge has numbers beside some of them', () => {
    expect(see((mark) => (7 * mark) % 10 < 6)?.numbers).not.toBe('each');
  });

  it.each([0, 1])('tell nothing where %d of them are left', (left) => {
    const { band, ticks } = tape(() => true);
    const level = { image: { widthPx: 1, heightPx: 1, data: new Float32Array(1) }, factor: 1 };
    const isOn = sightedWhere(({ y }) => y > -12 && y < 19);
    expect(seeNumberedScale(level, band, ticks.slice(0, left), -1, isOn)).toBeNull();
  });

  it('tell nothing where no ruler is seen', () => {
    expect(
      see(
        () => true,
        () => false,
      ),
    ).toBeNull();
  });
});

const far: Partial<RulerDrawing> = {
  widthPx: 900,
  heightPx: 700,
  pxPerMm: 1.8,
  lengthMm: 320,
  bodyWidthMm: 16,
  blurPx: 1.3,
  rotationDeg: 12,
  body: 0.85,
};

/** A tape or ruler far away, and what is read of it where it is seen. */
function readFar(options: Partial<RulerDrawing>): { photo: DecodedPhoto; readings: Reading[] } {
  const drawn = { ...far, ...options };
  const { photo, toMm } = drawRuler(drawn);
  const half = drawn.bodyWidthMm! / 2;
  const [c, s] = [Math.cos((12 * Math.PI) / 180), Math.sin((12 * Math.PI) / 180)];
  const isOn = (p: { x: number; y: number }): boolean => {
    const mm = toMm(p.x, p.y);
    return (
      Math.abs(-mm.x * s + (mm.y - 40) * c) < half &&
      Math.abs(mm.x * c + (mm.y - 40) * s) < drawn.lengthMm! / 2
    );
  };
  const edge = (across: number): SightedRulers['edges'][number] => ({
    middle: { x: 449.5 - 1.8 * across * s, y: 349.5 + 1.8 * (40 + across * c) },
    angle: (12 * Math.PI) / 180,
    lengthPx: 570,
  });
  const k = drawn.pxPerMm!;
  const place = (along: number, across: number): { x: number; y: number } => {
    const [u, v] = [(along - 0.5) * drawn.lengthMm!, across * half];
    return { x: 449.5 + k * (u * c - v * s), y: 349.5 + k * (40 + u * s + v * c) };
  };
  const body = { lengthPx: k * drawn.lengthMm!, widthPx: 2 * k * half, place };
  const sighted = { edges: [edge(-half), edge(half)], isAt: isOn, isOn, bodies: () => [body] };
  return { photo, readings: readGraduations(photo.gray, { rgb: photo.rgb, sighted }) };
}

describe('a tape whose millimetres run together', () => {
  const readingsOf = (options: Partial<RulerDrawing>) => readFar(options).readings;

  it('is read by its numbered centimetres, not as surely as by ticks', () => {
    const numbered = readingsOf({ edges: ['metric', 'none'] }).filter((r) => r.numbered);
    expect(numbered.length).toBeGreaterThan(0);
    for (const r of numbered) {
      expect([5, 10]).toContain(r.pitchMm);
      expect(r.pitchPx).toBeCloseTo(1.8 * r.pitchMm, 0);
      if (!r.hidden) expect(confidenceOf(r)).toBeLessThan(0.8);
    }
  });

  it.each(['inch-16', 'inch-8'] as const)('is never said to be centimetres when it shows %s', (edge) => {
    for (const pxPerMm of [1, 1.4, 1.8])
      expect(readingsOf({ edges: [edge, 'none'], pxPerMm }).some((r) => r.numbered)).toBe(false);
  });
});

describe('a ruler whose millimetres run together', () => {
  const blurred: Partial<RulerDrawing> = { pxPerMm: 2.4, bodyWidthMm: 30, blurPx: 2.2 };

  it('is read by its numbered centimetres, between which nothing stands at the quarters', () => {
    const { photo, readings } = readFar({ ...blurred, edges: ['metric', 'metric'] });
    const numbered = readings.filter((r) => r.numbered);
    expect(numbered.length).toBeGreaterThan(0);
    for (const r of numbered) expect(r.pitchPx).toBeCloseTo(2.4 * r.pitchMm, 0);
    const [scale] = rulerScales(photo, readings, { kinds: ['ruler', 'tape'] });
    // the numbers along both edges are no more than one sign
    expect(scale!.confidence).toBeLessThan(0.8);
    expect(scale!.confidence).toBeGreaterThanOrEqual(0.5);
    expect(Math.abs(Math.log(scale!.mmPerPx * 2.4))).toBeLessThan(2 * scale!.relativeUncertainty);
  });

  it.each(['inch-16', 'inch-8'] as const)('is never said to be centimetres when it shows %s', (edge) => {
    for (const pxPerMm of [1.4, 2.4])
      expect(readFar({ ...blurred, edges: [edge, edge], pxPerMm }).readings.some((r) => r.numbered)).toBe(
        false,
      );
  });
});
