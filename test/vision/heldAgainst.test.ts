import { describe, expect, it } from 'vitest';
import { heldAgainst, readTicks } from '../../vision/scale/ruler/readTicks.ts';
import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';
import { blankBand, PITCH } from './blankBand.ts';

const ROWS = 60;
/** Row in the middle of the short ticks, where numbers begin, and how far the longest reach from it. */
const ZERO = 12;
const NUMBERS = 24;
const LONGEST = 24;

/** Forty ticks, every eighth long, with a number on both sides of its lower half. */
function numbered(): StraightBand {
  const { band, ink } = blankBand(ROWS, ZERO);
  for (let k = 1; k <= 40; k++) {
    const at = k * PITCH;
    ink([at - 1, at + 2], [2, k % 8 === 0 ? ZERO + LONGEST : ZERO + 6]);
    if (k % 8 !== 0) continue;
    ink([at - 11, at - 5], [NUMBERS, NUMBERS + 14]);
    ink([at + 6, at + 12], [NUMBERS, NUMBERS + 14]);
  }
  return band;
}

describe('a tick with numbers on both of its sides', () => {
  it('reaches to its end when it is held against what lies close beside it', () => {
    const run = readTicks(numbered(), 18, -1)!;
    const reach = (of: typeof run): number =>
      Math.min(...of.ticks.filter((t) => t.reachDown > 9).map((t) => t.reachDown));
    // numbers fill the gaps half way to the next ticks, and the tick seems to end where they begin
    expect(reach(run)).toBeLessThan(NUMBERS - ZERO + 2);
    expect(reach(heldAgainst(numbered(), run, 0.25))).toBeGreaterThan(LONGEST - 2);
  });
});
