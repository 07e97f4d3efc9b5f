import { linearRegression } from 'simple-statistics';

/** A tick that was seen: its number in the row, and its place along the band, any unit. */
interface Counted {
  index: number;
  at: number;
}

/** Ticks on either side of a gap from which the pitch there is taken, and how many there have to be. */
const NEIGHBOURS = 12;
const LEAST = 6;
/** The two sides' pitches are alike but for perspective. */
const MOST_CHANGE = 0.08;
/** How near to a whole number of ticks a gap has to be. */
const NEAR_WHOLE = 0.25;

/**
 * Counts anew over gaps where ticks were not seen (a blot, a hole, a finger): from a first step that was taken askew the
 * ticks beyond had been numbered one too many, which bends the whole scale (5 % off across it, and sure, on a development
 * scene). What fits into a gap is told by the ticks on both of its sides.
 *
 * @param ticks in order
 * @returns the same places, numbered so that gaps are as wide as they look
 */
export function mendCount<T extends Counted>(ticks: readonly T[]): T[] {
  let shift = 0;
  return ticks.map((tick, i) => {
    const before = ticks[i - 1];
    if (before && tick.index - before.index > 1) {
      const fit = ticksBetween(ticks.slice(Math.max(0, i - NEIGHBOURS), i), ticks.slice(i, i + NEIGHBOURS));
      if (fit !== null) shift += fit - (tick.index - before.index);
    }
    return shift === 0 ? tick : { ...tick, index: tick.index + shift };
  });
}

/** How many steps lie from the last tick of one part to the first of the next; null where it is not a whole number. */
function ticksBetween(left: readonly Counted[], right: readonly Counted[]): number | null {
  if (left.length < LEAST || right.length < LEAST) return null;
  const [a, b] = [lineThrough(left), lineThrough(right)];
  if (Math.abs(Math.log(b.pitch / a.pitch)) > MOST_CHANGE) return null;
  const last = left[left.length - 1]!;
  const first = right[0]!;
  const steps = (b.placeOf(first.index) - a.placeOf(last.index)) / ((a.pitch + b.pitch) / 2);
  const whole = Math.round(steps);
  return whole >= 1 && Math.abs(steps - whole) < NEAR_WHOLE ? whole : null;
}

/** Straight line through places over numbers, by least squares. */
function lineThrough(ticks: readonly Counted[]): { pitch: number; placeOf(index: number): number } {
  const { m, b } = linearRegression(ticks.map(({ index, at }) => [index, at]));
  return { pitch: m, placeOf: (index) => b + m * index };
}
