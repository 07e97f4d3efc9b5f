import { describe, expect, it } from 'vitest';
import { clothWeight } from '../../vision/lattice/clothWeight.ts';

const W = 40;
const H = 30;
const tile = { leftPx: 0, topPx: 0, scale: 1 };
const filled = (f: (x: number, y: number) => number) =>
  Float32Array.from({ length: W * H }, (_, i) => f(i % W, Math.floor(i / W)));
const weigh = (contrast: Float32Array, allowed?: Parameters<typeof clothWeight>[2]) =>
  clothWeight({ widthPx: W, heightPx: H, cloth: filled(() => 0.9), contrast }, tile, allowed);

describe('clothWeight', () => {
  it('takes the noise of a plain table for no cloth, however much of the picture it is', () => {
    const weight = weigh(filled((x) => (x < 8 ? 0.1 : 0.008)));
    expect(weight[0]).toBeCloseTo(0.9);
    expect(weight[20]).toBe(0);
  });

  it('keeps dark stripes beside bright ones', () => {
    const weight = weigh(filled((_, y) => (y % 6 < 3 ? 0.15 : 0.03)));
    expect(Math.min(...weight)).toBeCloseTo(0.9);
  });

  it('sees nothing where there is less than one step of eight bits', () => {
    expect(Math.max(...weigh(filled(() => 0.003)))).toBe(0);
  });

  it('counts nothing where the mask forbids it', () => {
    const data = new Uint8Array(4 * W * H).fill(255);
    for (let y = 0; y < 2 * H; y++) data.fill(0, 2 * W * y, 2 * W * y + W);
    const weight = weigh(
      filled(() => 0.1),
      { widthPx: 2 * W, heightPx: 2 * H, data },
    );
    expect(weight[5]).toBe(0);
    expect(weight[W - 5]).toBeCloseTo(0.9);
  });
});
