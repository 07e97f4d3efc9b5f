import { describe, expect, it } from 'vitest';
import { findRulerScales } from '../../vision/scale/ruler/findRulerScales.ts';
import { findHiddenTicks } from '../../vision/scale/ruler/hiddenTicks.ts';
import type { Tick } from '../../vision/scale/ruler/readTicks.ts';
import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';
import type { GrayImage } from '../../vision/types.ts';
import { drawRuler, type RulerDrawing } from './rulerDrawing.ts';

const WIDTH = 640;
const HEIGHT = 120;
const MIDDLE = 60;
const COARSE_PX = 18.4;

/** A strip with coarse ticks every 18.4 px, and `perCoarse` faint fine ones between, as a lens spreads them over pixels. */
function strip(perCoarse: number, contrast: number): GrayImage {
  const data = new Float32Array(WIDTH * HEIGHT);
  // it lies a little askew, as everything does that is laid by hand
  const slope = 0.06;
  const noise = (k: number): number => {
    const v = Math.sin(k * 12.9898) * 43758.5453;
    return v - Math.floor(v) - 0.5;
  };
  for (let y = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++) {
      const across = y - MIDDLE - slope * (x - WIDTH / 2);
      const along = x + slope * across;
      const phase = along / COARSE_PX;
      const near = Math.abs(phase - Math.round(phase)) * COARSE_PX;
      let v = 0.7 + 0.05 * noise(y * WIDTH + x);
      if (Math.abs(across) < 5) v -= 0.4 * Math.exp(-(near ** 2) / (2 * 1.2 ** 2));
      if (across > -14 && across < -8) v -= contrast * Math.cos(2 * Math.PI * perCoarse * phase);
      data[y * WIDTH + x] = v;
    }
  return { widthPx: WIDTH, heightPx: HEIGHT, data };
}

/** The coarse ticks as they would be read. */
function coarseRun(): { band: StraightBand; ticks: Tick[] } {
  const slope = 0.06;
  const length = Math.hypot(1, slope);
  const [ux, uy] = [1 / length, slope / length];
  const toPoint = (along: number, across: number) => ({
    x: WIDTH / 2 + along * ux - across * uy,
    y: MIDDLE + along * uy + across * ux,
  });
  const first = Math.ceil(-WIDTH / 2 / COARSE_PX) + 1;
  const ticks = Array.from({ length: 30 }, (_, k) => {
    const x = (Math.ceil(WIDTH / 2 / COARSE_PX) + first + k) * COARSE_PX;
    return { index: k, along: (x - WIDTH / 2) * length, reachUp: 5, reachDown: 5, nearness: 1, strength: 1 };
  });
  return { band: { toPoint } as StraightBand, ticks };
}

const look = (perCoarse: number, contrast: number, sought: 5 | 10 = 10) => {
  const image = strip(perCoarse, contrast);
  const { band, ticks } = coarseRun();
  return findHiddenTicks(image, { image, factor: 1 }, band, ticks, sought);
};

describe('millimetres too close to be read one by one', () => {
  it('show in the sum of hundreds, below two pixels as well', () => {
    const hidden = look(10, 0.01);
    expect(hidden).not.toBeNull();
    expect(hidden!.share).toBeGreaterThan(0.8);
    expect(hidden!.excess).toBeGreaterThan(4);
    // they were drawn 8 to 14 px above the coarse ticks
    expect(hidden!.fromAcross).toBeGreaterThan(-17);
    expect(hidden!.toAcross).toBeLessThan(-6);
    for (const t of hidden!.ticks)
      expect(t.along / COARSE_PX - t.index).toBeCloseTo(
        hidden!.ticks[0]!.along / COARSE_PX - hidden!.ticks[0]!.index,
        1,
      );
  });

  it.each([
    ['sixteenths', 16],
    ['eighths', 8],
    ['ninths', 9],
    ['elevenths', 11],
    ['twelfths', 12],
  ])('are not seen in %s', (_name, perCoarse) => {
    expect(look(perCoarse, 0.03)).toBeNull();
  });

  it('are seen five to each half of a centimetre, too', () => {
    const hidden = look(5, 0.02, 5);
    expect(hidden!.share).toBeGreaterThan(0.8);
    for (const [perCoarse, sought] of [
      [10, 5],
      [4, 5],
      [8, 5],
      [5, 10],
    ] as const)
      expect(look(perCoarse, 0.03, sought)).toBeNull();
  });

  it('are not seen where there are none', () => {
    expect(look(10, 0)).toBeNull();
  });
});

describe('a photo of a scale whose ticks are hardly two pixels apart', () => {
  const small: Partial<RulerDrawing> = {
    widthPx: 900,
    heightPx: 700,
    pxPerMm: 1.9,
    lengthMm: 300,
    blurPx: 0.6,
    rotationDeg: 17,
  };
  const best = (options: Partial<RulerDrawing>) =>
    findRulerScales(drawRuler({ ...small, ...options }).photo, { kinds: ['ruler', 'tape'] })[0];

  it('is read as millimetres', () => {
    const scale = best({ edges: ['metric', 'none'] });
    expect(scale?.variety).toBe('metric');
    expect(scale!.confidence).toBeGreaterThan(0.5);
    // mm per px in the middle: 1 / 1.9; seen from above, but that is not known of it
    expect(Math.abs(Math.log(scale!.mmPerPx * 1.9))).toBeLessThan(2 * scale!.relativeUncertainty);
  });

  it('is never taken for millimetres when it shows inches', () => {
    const scale = best({ edges: ['inch-16', 'none'], pxPerMm: 1.2 });
    if (scale && scale.confidence >= 0.5) expect(scale.variety).toBe('inch');
  });
});
