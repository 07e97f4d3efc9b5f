import { describe, expect, it } from 'vitest';
import { evenPart } from '../../vision/scale/ruler/evenPart.ts';
import type { Tick } from '../../vision/scale/ruler/readTicks.ts';
import { Rng } from '../../fixtures/scene/rng.ts';

const tick = (index: number, along: number): Tick => ({
  index,
  along,
  nearness: 1,
  reachUp: 2,
  reachDown: 5,
  strength: 1,
});

describe('a run of ticks that was followed off the end of its ruler', () => {
  const rng = new Rng(3, 'carpet');
  const printed = Array.from({ length: 40 }, (_, i) => tick(i, 10 * i + rng.gauss(0, 0.1)));
  const carpet = Array.from({ length: 20 }, (_, i) => tick(40 + i, 10 * (40 + i) + rng.gauss(0, 2.5)));

  it('ends where its places begin to scatter', () => {
    const [from, to] = evenPart([...printed, ...carpet]);
    expect(from).toBe(0);
    expect(to).toBeGreaterThan(35);
    expect(to).toBeLessThan(46);
  });

  it('is kept whole where a finger hides a part of it', () => {
    const hidden = printed.filter((_, i) => i < 18 || i >= 22);
    expect(evenPart(hidden)).toEqual([0, hidden.length]);
  });

  it('is kept whole where all of it is blurred alike', () => {
    const blurred = Array.from({ length: 60 }, (_, i) => tick(i, 10 * i + rng.gauss(0, 0.6)));
    const [from, to] = evenPart(blurred);
    expect(to - from).toBeGreaterThan(52);
  });
});
