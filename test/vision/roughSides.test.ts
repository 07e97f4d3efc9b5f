import { describe, expect, it } from 'vitest';
import { Rng } from '../../fixtures/scene/rng.ts';
import { roughSides } from '../../vision/scale/roughSides.ts';

const side = (n: number, across: (along: number) => number) =>
  Array.from({ length: 8 }, (_, i) => ({
    side: n,
    point: { x: 40 * i, y: 100 * n + across(40 * i) },
    sigmaPx: 0.2,
  }));

describe('sides of a card whose points scatter', () => {
  const rng = new Rng(5, 'sides');
  // a straight side however it leans; cloth lying over another one
  const straight = side(0, (x) => 0.3 * x + rng.gauss(0, 0.15));
  const cloth = side(1, (x) => 0.03 * x + rng.gauss(0, 1.2));
  const [first, second] = [0, 1].map((n) => roughSides([...straight, ...cloth]).filter((e) => e.side === n));

  it('are trusted less as a whole, in place and direction', () => {
    // the mean of the side's points, px
    expect(second![0]!.sigmaPx / Math.sqrt(8)).toBeGreaterThan(1);
  });

  it('say hardly anything where they scatter by much: it is the edge of something else', () => {
    expect(second![0]!.sigmaPx / Math.sqrt(8)).toBeGreaterThan(2);
  });

  it('are known by three points of eight, and where each is uncertain by itself', () => {
    const partly = side(0, (x) => ([80, 200, 240].includes(x) ? 3 : 0)).map((e) => ({ ...e, sigmaPx: 0.8 }));
    expect(roughSides(partly)[0]!.sigmaPx).toBeGreaterThan(2);
  });

  it('take nothing from the others', () => {
    for (const e of first!) expect(e.sigmaPx).toBeCloseTo(0.2, 1);
  });

  it('are kept as they are where one point alone is off', () => {
    const one = side(0, (x) => (x === 80 ? 4 : rng.gauss(0, 0.1)));
    expect(roughSides(one)[0]!.sigmaPx).toBeCloseTo(0.2, 1);
  });
});
