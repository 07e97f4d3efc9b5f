import { describe, expect, it } from 'vitest';
import { Rng } from '../../fixtures/scene/rng.ts';
import { alternateCycles } from '../../vision/scale/ruler/alternateCycles.ts';
import type { NamedGraduation } from '../../vision/scale/ruler/nameGraduation.ts';
import type { TickRun } from '../../vision/scale/ruler/readTicks.ts';
import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';

const PITCH = 8;
const REACH = 60;
const LONGEST = 30;

/** An inch scale laid straight: ticks of 8 px, longest ones 30 px, a digit of uneven ink below each so many of them. */
function inchBand(ticks: number, ticksToANumber: number, seed: number) {
  const rng = new Rng(seed, 'band');
  const columns = (ticks + 2) * PITCH;
  const rows = 2 * REACH + 1;
  const data = Float32Array.from({ length: rows * columns }, () => 0.8 + rng.gauss(0, 0.03));
  const ink = (x: number, from: number, to: number, wide: number): void => {
    for (let r = from; r < to; r++)
      for (let c = Math.round(x - wide / 2); c < x + wide / 2; c++) data[(r + REACH) * columns + c]! -= 0.5;
  };
  for (let i = 0; i < ticks; i++) {
    const x = (i + 1) * PITCH;
    // halves of an inch look like wholes here: eighths by their lengths
    ink(x, 0, i % 8 === 0 ? LONGEST : i % 4 === 0 ? 24 : i % 2 === 0 ? 18 : 12, 2);
    if (i % ticksToANumber === 0) ink(x, LONGEST + 3, LONGEST + 3 + rng.int(9, 15), rng.int(5, 12));
  }
  const band: StraightBand = {
    data,
    columns,
    rows,
    columnsPerPx: 1,
    alongStart: 0,
    acrossStart: -REACH,
    pitchAt: () => PITCH,
    toPoint: (along, across) => ({ x: along, y: across }),
    leanAt: () => 0,
    bowPx: 0,
  };
  const run = {
    polarity: -1,
    ticks: Array.from({ length: ticks }, (_, index) => ({ index, along: (index + 1) * PITCH })),
  } as unknown as TickRun;
  const named = { key: 'inch-8', reachesPx: [LONGEST, 24, 18, 12] } as unknown as NamedGraduation;
  return { band, run, side: 1 as const, basePx: 0, named };
}

describe('ticks whose lengths repeat every eight', () => {
  it('are sixteenths where only every other of these "inches" has a number', () => {
    for (let seed = 1; seed <= 5; seed++)
      expect(alternateCycles(inchBand(66, 16, seed), 8)).toBeGreaterThan(12);
  });

  it('are eighths where each has one, however much ink its digits have', () => {
    for (let seed = 1; seed <= 20; seed++)
      expect(alternateCycles(inchBand(66, 8, seed), 8)).toBeLessThan(-12);
  });

  it('are not told of where two inches are in view', () => {
    expect(alternateCycles(inchBand(20, 16, 1), 8)).toBe(0);
  });
});
