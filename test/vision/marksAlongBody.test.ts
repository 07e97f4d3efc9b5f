import { describe, expect, it } from 'vitest';
import { areMillimetres, marksAlongBody, repeatsAtTwice } from '../../vision/scale/ruler/marksAlongBody.ts';
import type { GrayImage } from '../../vision/types.ts';

const WIDTH = 900;
const HEIGHT = 80;
const BODY = {
  lengthPx: 800,
  widthPx: 48,
  place: (along: number, across: number) => ({ x: 50 + 800 * along, y: 40 + 24 * across }),
};
/** How much the pitch grows from one end to the other, as where a camera looks along a scale. */
const GROWS = 1.5;
/** Wholes along the body. */
const WHOLES = 22;

const noise = (k: number): number => {
  const v = Math.sin(k * 12.9898) * 43758.5453;
  return v - Math.floor(v) - 0.5;
};

/**
 * A scale whose ticks are a hundredth as strong as white is bright, which is less than its noise: for each level so
 * many to a whole, in rows of their own from the edge inwards.
 */
function scale(perWhole: readonly number[], contrast = 0.01): GrayImage {
  const g = Math.sqrt(GROWS) - 1;
  const data = new Float32Array(WIDTH * HEIGHT);
  for (let y = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++) {
      const s = (x - 50) / 800;
      const index = (WHOLES * s * (1 + g)) / (1 + g * s);
      const row = Math.floor((y - 18) / 9);
      const of = y >= 18 ? perWhole[row] : undefined;
      data[y * WIDTH + x] =
        0.7 + 0.06 * noise(y * WIDTH + x) - (of ? contrast * Math.cos(2 * Math.PI * of * index) : 0);
    }
  return { widthPx: WIDTH, heightPx: HEIGHT, data };
}

const of = (perWhole: readonly number[]) => marksAlongBody(scale(perWhole), BODY);

describe('marks along the whole of a ruler', () => {
  const metric = of([10, 2, 1]);
  const inch = of([8, 4, 2, 1]);

  it('are found below the noise, where a camera looks along them', () => {
    for (const wanted of [1, 2, 10]) {
      const found = metric.find((m) => Math.abs(m.count / (WHOLES * wanted) - 1) < 0.01);
      expect(found).toBeDefined();
      const { stretches } = found!.band;
      const [first, last] = [stretches[0]!, stretches[stretches.length - 1]!];
      // the pitch grows from the body's one end to its other; stretches lie a little inside of both
      expect(Math.log(last.pitchPx / first.pitchPx)).toBeCloseTo(0.92 * Math.log(GROWS), 1);
    }
  });

  it('are millimetres where five and ten times as far apart there are others', () => {
    const fine = metric.find((m) => Math.abs(m.count / (10 * WHOLES) - 1) < 0.01)!;
    expect(areMillimetres(fine, metric)).toBe(true);
    expect(metric.filter((m) => m !== fine).some((m) => areMillimetres(m, metric))).toBe(false);
  });

  it('are not millimetres where they are fractions of an inch', () => {
    expect(inch.some((m) => Math.abs(m.count / (8 * WHOLES) - 1) < 0.01)).toBe(true);
    expect(inch.some((m) => areMillimetres(m, inch))).toBe(false);
  });

  it('are every other of those that lie half as far apart', () => {
    const { stretches } = metric.find((m) => Math.abs(m.count / (2 * WHOLES) - 1) < 0.01)!.band;
    const apart = (times: number) =>
      [3, 6, 9].map((i) => ({ at: stretches[i]!, pitchPx: times * stretches[i]!.pitchPx }));
    expect(repeatsAtTwice(apart(1), metric)).toBe(true);
    expect(repeatsAtTwice(apart(2), metric)).toBe(false);
    expect(repeatsAtTwice(apart(0.7), metric)).toBe(false);
    // the same in the middle, but not elsewhere
    expect(repeatsAtTwice([apart(1)[0]!, apart(1)[1]!, apart(0.8)[2]!], metric)).toBe(false);
  });

  it('are none where nothing repeats', () => {
    expect(of([])).toHaveLength(0);
  });
});
