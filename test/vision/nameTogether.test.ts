import { describe, expect, it } from 'vitest';
import { Rng } from '../../fixtures/scene/rng.ts';
import { nameGraduation } from '../../vision/scale/ruler/nameGraduation.ts';
import { nameTogether } from '../../vision/scale/ruler/nameTogether.ts';
import { reachOf, type TickRun } from '../../vision/scale/ruler/readTicks.ts';

const ROWS = 81;
const ZERO_ROW = 30;
const BEGIN_PX = 5;

/** Ticks that reach as far as `lengthPx` says from where they begin, each with an uneven edge and noise of its own. */
function faintRun(
  count: number,
  pitchPx: number,
  lengthPx: (index: number) => number,
  seed: number,
  noise = 0.4,
): TickRun {
  const rng = new Rng(seed, 'ticks');
  const response = new Float32Array(count * ROWS);
  for (let t = 0; t < count; t++) {
    const end = ZERO_ROW - BEGIN_PX + lengthPx(t);
    let drift = 0;
    for (let r = 0; r < ROWS; r++) {
      drift = 0.8 * drift + rng.gauss(0, 0.6 * noise);
      const begun = 1 / (1 + Math.exp(-(r - (ZERO_ROW - BEGIN_PX)) / 0.8));
      response[t * ROWS + r] = begun / (1 + Math.exp((r - end) / 0.8)) + drift;
    }
  }
  const ticks = Array.from({ length: count }, (_, index) => ({
    index,
    along: 50 + index * pitchPx,
    nearness: 1,
    reachUp: reachOf(response.subarray(index * ROWS, (index + 1) * ROWS), ZERO_ROW, -1, pitchPx),
    reachDown: reachOf(response.subarray(index * ROWS, (index + 1) * ROWS), ZERO_ROW, 1, pitchPx),
    strength: 1,
  }));
  return {
    ticks,
    polarity: -1,
    pitchPx,
    from: -4,
    to: 4,
    jitter: 0.03,
    completeness: 1,
    response,
    rows: ROWS,
  };
}

/** Lengths of an inch's ticks, of which so many stand between wholes, as shares of the longest. */
const inches = (perInch: number, longestPx: number) => (index: number) => {
  const sixteenths = ((index * 16) / perInch) % 16;
  const share =
    sixteenths === 0
      ? 1
      : sixteenths === 8
        ? 0.78
        : sixteenths % 4 === 0
          ? 0.62
          : sixteenths % 2 === 0
            ? 0.47
            : 0.32;
  return share * longestPx;
};
const centimetres = (longestPx: number) => (index: number) =>
  (index % 10 === 0 ? 1 : index % 5 === 0 ? 0.75 : 0.5) * longestPx;

describe('ticks too faint to be read one by one', () => {
  it.each([
    ['inch-8', inches(8, 28), 75, 12],
    ['inch-16', inches(16, 28), 150, 7],
    ['metric', centimetres(28), 120, 5],
  ] as const)('are named by all of them at once: %s', (key, length, count, pitchPx) => {
    let [one, together] = [0, 0];
    for (let seed = 1; seed <= 6; seed++) {
      const run = faintRun(count, pitchPx, length, seed);
      const single = nameGraduation(
        run.ticks.map((t) => t.index),
        run.ticks.map((t) => t.reachDown),
      );
      if (single?.key === key && single.margin > 0.6) one++;
      const all = nameTogether(run, ZERO_ROW);
      if (!all) continue;
      expect(all.named.key).toBe(key);
      expect(all.side).toBe(1);
      together++;
    }
    expect(together).toBeGreaterThanOrEqual(4);
    expect(together).toBeGreaterThan(one + 2);
  });

  it('are not named where all are alike, or where their lengths are of no known kind', () => {
    for (let seed = 1; seed <= 4; seed++) {
      expect(
        nameTogether(
          faintRun(120, 7, () => 14, seed),
          ZERO_ROW,
        ),
      ).toBeNull();
      expect(
        nameTogether(
          faintRun(120, 7, (i) => (i % 6 === 0 ? 28 : 14), seed),
          ZERO_ROW,
        ),
      ).toBeNull();
      expect(
        nameTogether(
          faintRun(120, 7, (i) => (i % 7 === 0 ? 28 : 14), seed),
          ZERO_ROW,
        ),
      ).toBeNull();
    }
  });

  it('are not named after two inches, which may be one of sixteenths', () => {
    for (let seed = 1; seed <= 4; seed++)
      expect(nameTogether(faintRun(25, 12, inches(8, 28), seed, 0.3), ZERO_ROW)).toBeNull();
  });

  it('are no quarters of an inch where they are long for that', () => {
    // sixteenths of which only quarters and eighths can be told
    const cut = (index: number): number => Math.min(17, inches(16, 28)(index));
    for (let seed = 1; seed <= 4; seed++)
      expect(nameTogether(faintRun(150, 7, cut, seed, 0.3), ZERO_ROW)).toBeNull();
  });
});
