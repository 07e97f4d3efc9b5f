import type { GrayImage } from '../../types.ts';
import { toDecodedPx } from './halve.ts';
import type { Reading } from './readGraduations.ts';
import { lineContrast, medianOf } from './readTicks.ts';
import { straightenBand } from './straightenBand.ts';

/**
 * Whether finer ticks stand between those read (an eighth-inch reading of a ruler with sixteenths):
 * contrast of lines at the halves and fifths, near where the ticks begin, as a share of the ticks' own.
 *
 * @param reachPx how far the shortest ticks read reach, px of the level
 */
export function strengthBetween(gray: GrayImage, reading: Reading, reachPx = shortestOf(reading)): number {
  const { contrast, pitchPx, rowAt } = linesBetween(gray, reading);
  // beyond where the ticks read seem to begin, too: finer ticks on both sides hide their beginning
  const rows = [
    rowAt(-(reading.basePx + 1.3 * reading.run.pitchPx)),
    rowAt(Math.max(1 / Math.max(1, reading.level.factor), 0.7 * reachPx)),
  ] as const;
  const own = contrast([0], 0.5, rows);
  if (own <= 0) return 1;
  const halves = pitchPx >= 5 ? contrast([0.5], 0.5, rows) / own : 0;
  const fifths = pitchPx >= 9 ? contrast([0.2, 0.4, 0.6, 0.8], 0.2, rows) / own : 0;
  return Math.max(halves, fifths);
}

/**
 * Whether what stands half way between the ticks read ends clearly before the shortest of them do: contrast there as a
 * share of the ticks' own, in the last part of their length. Ticks as long as theirs would be as strong there as
 * where they begin.
 */
export function endsBetween(gray: GrayImage, reading: Reading): number {
  const { contrast, rowAt } = linesBetween(gray, reading);
  const reach = shortestOf(reading);
  const length = reach + reading.basePx;
  const end = reach - LAST_PART[1] * length;
  const begin = Math.min(reach - LAST_PART[0] * length, end - 1 / Math.max(1, reading.level.factor));
  const rows = [rowAt(begin), rowAt(end)] as const;
  const own = contrast([0], 0.5, rows);
  return own > 0 ? contrast([0.5], 0.5, rows) / own : 1;
}

/** Before their end, shares of the length of the shortest ticks: blur draws what ends sooner out, and the end in. */
const LAST_PART = [0.22, 0.04] as const;

const shortestOf = ({ named, unclear }: Reading): number =>
  Math.min(...(named?.reachesPx ?? unclear?.reachesPx ?? [4]));

interface LinesBetween {
  /** Median contrast of lines at such places between neighbouring ticks, in the strongest sixth of those rows. */
  contrast(fractions: readonly number[], share: number, rows: readonly [number, number]): number;
  /** Pitch in the strip that is looked at, px. */
  pitchPx: number;
  /** Row of the strip for a place across, px of the level: positive towards the ends of the ticks. */
  rowAt(acrossPx: number): number;
}

function linesBetween(gray: GrayImage, { followed, run, level, band, side }: Reading): LinesBetween {
  const scale = Math.max(1, level.factor);
  // a fresh strip from the full picture, so that what the coarser level blurred away is seen
  const stretches = followed.stretches.map((s) => ({
    ...s,
    x: toDecodedPx(level, s.x),
    y: toDecodedPx(level, s.y),
    pitchPx: s.pitchPx * level.factor,
  }));
  const fine =
    level.factor <= 1
      ? band
      : straightenBand(gray, { stretches, depthPx: followed.depthPx * level.factor }, 5);
  const k = fine.columnsPerPx;
  const columnOf = (along: number): number => (along * scale - fine.alongStart) * k;
  // the strongest sixth of the depth counts, since finer ticks may be very short; the same sixth all along, and
  // the median there: cloth beside the scale has light and dark places anywhere
  const contrast = (fractions: readonly number[], share: number, rows: readonly [number, number]): number => {
    const [from, to] = [Math.min(...rows), Math.max(...rows)];
    const block = Math.max(2, Math.round((to - from) / 6));
    let best = 0;
    for (let r0 = from; r0 + block <= to + 1; r0 += block) {
      const values: number[] = [];
      for (let t = 0; t + 1 < run.ticks.length; t++) {
        const a = run.ticks[t]!;
        const b = run.ticks[t + 1]!;
        if (b.index - a.index !== 1) continue;
        const pitch = (b.along - a.along) * scale * k;
        let s = 0;
        let m = 0;
        for (const f of fractions)
          for (let r = Math.max(0, r0); r < Math.min(fine.rows, r0 + block); r++) {
            const at = columnOf(a.along + f * (b.along - a.along));
            const v = lineContrast(fine, r, at, pitch * share, run.polarity);
            if (!Number.isNaN(v)) {
              s += v;
              m++;
            }
          }
        if (m) values.push(s / m);
      }
      if (values.length) best = Math.max(best, medianOf(values));
    }
    return best;
  };
  return {
    contrast,
    pitchPx: run.pitchPx * scale,
    rowAt: (acrossPx) => Math.round(-fine.acrossStart + side * acrossPx * scale),
  };
}
