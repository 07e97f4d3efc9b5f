import { describe, expect, it } from 'vitest';
import type { Reading } from '../../vision/scale/ruler/readGraduations.ts';
import { shorterBetween } from '../../vision/scale/ruler/shorterBetween.ts';

const COUNT = 49;

/** A straight run of ticks, `stepPx` of the photo apart, that reach as far as `reach` says. */
function runOf(
  count: number,
  stepPx: number,
  reach: (k: number) => number,
  firstIndex: number,
  levels: number[] | null,
  factor = 1,
): Reading {
  const ticks = Array.from({ length: count }, (_, k) => ({
    index: k + firstIndex,
    along: (100 + k * stepPx) / factor,
    nearness: 1,
    reachUp: 3,
    reachDown: reach(k) / factor,
    strength: 1,
  }));
  return {
    run: { ticks },
    band: { toPoint: (along: number, across: number) => ({ x: along, y: across }) },
    level: { factor },
    side: 1,
    named: levels && { levels },
  } as unknown as Reading;
}

const sixteenths = (k: number): number =>
  // numerals touch some inches, and the far half is smeared
  k % 16 === 0 ? (k === 16 ? 40 : 18) : k % 2 === 1 ? 5 : k > 30 ? 9 : k % 4 === 0 ? 13 : 9;
const eighthLevels = Array.from({ length: 25 }, (_, k) =>
  k % 8 === 0 ? 0 : k % 4 === 0 ? 1 : k % 2 === 0 ? 2 : 3,
);
const eighths = (stepPx = 16, factor = 1) => runOf(25, stepPx, () => 9, 7, eighthLevels, factor);

describe('ticks between eighths of an inch that were read by themselves', () => {
  it('are known to be shorter, whatever the longest look like', () => {
    expect(shorterBetween(runOf(COUNT, 8, sixteenths, -3, null), eighths())).toBeCloseTo(5, 5);
    expect(shorterBetween(runOf(COUNT, 8, sixteenths, 0, null), eighths(16, 2))).toBeCloseTo(5, 5);
  });

  it('are nothing that is known where they are as long', () => {
    expect(
      shorterBetween(
        runOf(COUNT, 8, () => 9, 0, null),
        eighths(),
      ),
    ).toBeNull();
  });

  it('are not between where the eighths are not every other one of them', () => {
    expect(shorterBetween(runOf(COUNT, 9.3, sixteenths, 0, null), eighths())).toBeNull();
  });
});
