import { describe, expect, it } from 'vitest';
import { nameGraduation } from '../../vision/scale/ruler/nameGraduation.ts';
import { nameStacked } from '../../vision/scale/ruler/nameStacked.ts';
import { reachOf, type TickRun } from '../../vision/scale/ruler/readTicks.ts';
import { longEdges, seedsAlongEdges } from '../../vision/scale/ruler/seedsAlongEdges.ts';
import { drawRuler } from './rulerDrawing.ts';

const ROWS = 60;
const ZERO_ROW = 20;

/** The same deviates every time, standard deviation about 1. */
const shake = (k: number): number => {
  const uniform = (v: number): number => {
    const x = Math.sin(v) * 43758.5453;
    return x - Math.floor(x);
  };
  return (uniform(k * 12.9898) + uniform(k * 78.233) + uniform(k * 37.719) - 1.5) * 2;
};

/** A run whose ticks fade to a third just inside the edge, under noise as strong as what is left of them. */
function fadedRun(count: number, lengthPx: (k: number) => number, noise: number): TickRun {
  const response = new Float32Array(count * ROWS);
  const ticks = Array.from({ length: count }, (_, k) => {
    for (let r = 0; r < ROWS; r++) {
      const depth = r - ZERO_ROW;
      const ink = depth < -2 ? 0 : depth < 3 ? 1 : depth < lengthPx(k) ? 0.36 : 0;
      response[k * ROWS + r] = ink + noise * shake(k * ROWS + r + 1);
    }
    const profile = response.subarray(k * ROWS, (k + 1) * ROWS);
    const reach = (sign: 1 | -1): number => reachOf(profile, ZERO_ROW, sign, 5);
    return { index: k, along: 5 * k, nearness: 1, reachUp: reach(-1), reachDown: reach(1), strength: 1 };
  });
  return {
    ticks,
    polarity: -1,
    pitchPx: 5,
    from: -2,
    to: 2,
    jitter: 0.02,
    completeness: 1,
    response,
    rows: ROWS,
  };
}

// Lengths by level are common practice: 1/16 … 1 in, and 1, 5 and 10 mm.
const inch16 = (k: number): number =>
  k % 16 === 0 ? 19 : k % 8 === 0 ? 15.5 : k % 4 === 0 ? 12 : k % 2 === 0 ? 8.5 : 5;
const metric = (k: number): number => (k % 10 === 0 ? 19 : k % 5 === 0 ? 13 : 7);

describe('a long run of faint ticks', () => {
  const named = (run: TickRun) =>
    nameStacked(
      run,
      run.ticks.map(() => true),
      1,
      ZERO_ROW,
    )?.key ?? null;

  it.each([
    ['sixteenths of an inch', 200, inch16, 'inch-16'],
    ['millimetres', 300, metric, 'metric'],
  ] as const)('is named from ticks whole cycles apart: %s', (_what, count, lengthPx, key) => {
    const run = fadedRun(count, lengthPx, 0.15);
    expect(
      nameGraduation(
        run.ticks.map((t) => t.index),
        run.ticks.map((t) => t.reachDown),
      ),
    ).toBeNull();
    expect(named(run)).toBe(key);
  });

  it('has no name when its ticks are all alike, follow another pattern, or are too few', () => {
    expect(named(fadedRun(300, () => 9, 0.15))).toBeNull();
    expect(named(fadedRun(300, (k) => (k % 12 === 0 ? 19 : k % 6 === 0 ? 13 : 7), 0.15))).toBeNull();
    expect(named(fadedRun(36, metric, 0.15))).toBeNull();
  });
});

describe('where a tick ends', () => {
  it('is told to a fraction of a row', () => {
    // there up to row 4, and to three quarters in row 5, where half of the contrast is left at 5.5 − …
    const profile = Float32Array.from([1, 1, 1, 1, 1, 0.75, 0.25, 0, 0, 0, 0, 0]);
    expect(reachOf(profile, 0, 1, 5)).toBeCloseTo(5.5, 5);
    expect(
      reachOf(
        profile.map((v, i) => (i === 5 ? 0.6 : i === 6 ? 0.1 : v)),
        0,
        1,
        5,
      ),
    ).toBeCloseTo(5.2, 5);
  });
});

describe('ticks along a long edge', () => {
  it('are found where the ruler ends, though its ink is faint', () => {
    const { photo } = drawRuler({
      widthPx: 1000,
      heightPx: 750,
      body: 0.8,
      ink: 0.7,
      offsetMm: { x: 0, y: 0 },
      lengthMm: 150,
      pxPerMm: 5,
    });
    const edges = longEdges(photo.rgb);
    const seeds = seedsAlongEdges(
      edges,
      { image: photo.gray, factor: 1 },
      { minPitchPx: 2.25, maxPitchPx: 8, maxTried: 0 },
    );
    // among the eight that are followed; the ruler is turned by 8° and its ticks are 5 px apart
    const onRuler = seeds
      .slice(0, 8)
      .filter((s) => Math.abs(Math.tan(s.axisAngle - (8 * Math.PI) / 180)) < 0.026)
      .map((s) => Math.round(s.pitchPx * 10) / 10);
    expect(onRuler).toContain(5);
  });
});
