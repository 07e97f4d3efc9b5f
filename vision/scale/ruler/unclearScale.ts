import { medianOf, type TickRun } from './readTicks.ts';

/** Ticks that are surely those of a scale, though their lengths do not tell of which. */
export interface UnclearScale {
  /** All of one length, or long and short in turn. */
  pattern: 'even' | 'alternate';
  /** Typical reach of each level, longest first, px. */
  reachesPx: number[];
}

/** Fewest ticks: less is seen of a scale than of a fringe or a comb. */
const LEAST_TICKS = 14;
/** Spread of where ticks lie and end, in pitches: print is this even, cloth and combs are not. */
const MAX_JITTER = 0.015;
const MAX_END_SPREAD = 0.16;
/** Length of the short ticks, in pitches. */
const LENGTH_PITCHES = [0.25, 2.2] as const;
/** Contrast of the columns beyond the ticks' ends, as a share of the ticks' own: cloth goes on with its next row. */
const MAX_BEYOND = 0.3;

/**
 * Whether a run without a telling pattern is a scale all the same: even print, ticks that begin on one line,
 * end at one or two lengths, and have nothing of their own beyond.
 *
 * @param side on which long ticks reach further
 * @param zeroRow row of the middle of the short ticks in `run.response`
 */
export function unclearScale(run: TickRun, side: 1 | -1, zeroRow: number): UnclearScale | null {
  const ticks = run.ticks.filter((t) => t.strength > 0.4);
  if (ticks.length < LEAST_TICKS || run.jitter > MAX_JITTER || run.completeness < 0.9) return null;
  const reach = ticks.map((t) => (side > 0 ? t.reachDown : t.reachUp));
  const base = ticks.map((t) => (side > 0 ? t.reachUp : t.reachDown));
  const spread = (v: number[], about = medianOf(v)): number =>
    (1.4826 * medianOf(v.map((x) => Math.abs(x - about)))) / run.pitchPx;
  if (spread(base) > MAX_END_SPREAD) return null;
  const groups = [0, 1].map((parity) => reach.filter((_, i) => Math.abs(ticks[i]!.index % 2) === parity));
  if (groups.some((g) => g.length < LEAST_TICKS / 3)) return null;
  const [p, q] = groups.map((g) => medianOf(g)) as [number, number];
  if (groups.some((g) => spread(g) > MAX_END_SPREAD)) return null;
  const low = Math.min(p, q);
  const high = Math.max(p, q);
  const alternate = (high - low) / run.pitchPx > 2 * MAX_END_SPREAD;
  const length = (low + medianOf(base)) / run.pitchPx;
  if (length < LENGTH_PITCHES[0] || length > LENGTH_PITCHES[1] || high > 4 * run.pitchPx) return null;

  // numerals stand beyond some of the long ticks only, so the middle of many tells
  const beyond = (sign: 1 | -1, end: number): number => {
    const values: number[] = [];
    const from = Math.round(end + 0.3 * run.pitchPx);
    const to = Math.round(end + 1.2 * run.pitchPx);
    run.ticks.forEach((_, i) => {
      for (let d = from; d <= to; d++) {
        const v = run.response[i * run.rows + zeroRow + sign * d];
        if (v !== undefined && !Number.isNaN(v) && zeroRow + sign * d >= 0 && zeroRow + sign * d < run.rows)
          values.push(Math.abs(v));
      }
    });
    return values.length ? medianOf(values) : 0;
  };
  if (beyond(side, high) > MAX_BEYOND) return null;
  if (beyond(side > 0 ? -1 : 1, medianOf(base)) > MAX_BEYOND) return null;
  return {
    pattern: alternate ? 'alternate' : 'even',
    reachesPx: alternate ? [high, low] : [medianOf(reach)],
  };
}
