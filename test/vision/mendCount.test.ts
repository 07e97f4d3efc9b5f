import { describe, expect, it } from 'vitest';
import { mendCount } from '../../vision/scale/ruler/mendCount.ts';

/** Ticks 10 apart, a little closer from one to the next as in perspective, without those hidden. */
const row = (hidden: (k: number) => boolean, numberOf: (k: number) => number) =>
  Array.from({ length: 60 }, (_, k) => ({ index: numberOf(k), at: 10 * k - 0.004 * k * k })).filter(
    (_, k) => !hidden(k),
  );

describe('counting over ticks that were not seen', () => {
  const behindBlot = (k: number): boolean => k > 25 && k < 33;

  it('puts right what was numbered one too many or too few beyond them', () => {
    for (const slip of [-1, 1]) {
      const counted = mendCount(row(behindBlot, (k) => (k >= 33 ? k + slip : k)));
      expect(counted.map((t) => t.index)).toEqual(row(behindBlot, (k) => k).map((t) => t.index));
    }
  });

  it('leaves alone what is right, and a gap of no whole number of ticks', () => {
    const right = row(behindBlot, (k) => k);
    expect(mendCount(right)).toEqual(right);
    const halfOff = right.map((t) => (t.index >= 33 ? { ...t, at: t.at + 5 } : t));
    expect(mendCount(halfOff)).toEqual(halfOff);
  });
});
