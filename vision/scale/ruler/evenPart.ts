import { medianOf, type Tick } from './readTicks.ts';

/** Ticks over which evenness is judged. */
const WINDOW = 9;
/** Spread of a tick's place about its neighbours' middle, in pitches, up to which it is even whatever the others are. */
const EVEN = 0.045;
/** And how many times that of the evenest quarter. */
const TIMES_EVENEST = 3;

/**
 * The part of a run that is as even as print: what was followed off the end of a ruler into cloth or carpet goes on
 * with places that scatter. A place hidden by a finger or a blot in between is kept.
 *
 * @returns indices of its first tick and of the one after its last
 */
export function evenPart(ticks: readonly Tick[]): [from: number, to: number] {
  const n = ticks.length;
  const off = ticks.map((_, i) => offNeighbours(ticks, i));
  const local = ticks.map((_, i) => {
    // at the ends the window lies wholly inside
    const from = Math.max(0, Math.min(n - WINDOW, i - (WINDOW >> 1)));
    return medianOf(off.slice(from, from + WINDOW));
  });
  const evenest = [...local].sort((a, b) => a - b)[n >> 2] ?? 0;
  const limit = Math.max(EVEN, TIMES_EVENEST * evenest);
  // the stretch with the most even ticks to spare over uneven ones
  let best: [number, number] = [0, n];
  let most = -Infinity;
  let sum = 0;
  let from = 0;
  for (let i = 0; i < n; i++) {
    if (sum <= 0) {
      sum = 0;
      from = i;
    }
    sum += local[i]! <= limit ? 1 : -1;
    if (sum > most) {
      most = sum;
      best = [from, i + 1];
    }
  }
  return best;
}

/** How far a tick lies from the middle of the two before and the two after it, in pitches; 1 where one is missing. */
function offNeighbours(ticks: readonly Tick[], i: number): number {
  const middle = Math.max(2, Math.min(ticks.length - 3, i));
  const [p, q, m, r, s] = [-2, -1, 0, 1, 2].map((k) => ticks[middle + k]);
  if (!p || !q || !m || !r || !s || s.index - p.index !== 4) return 1;
  const pitch = (s.along - p.along) / 4;
  return Math.abs(m.along - (p.along + q.along + r.along + s.along) / 4) / pitch;
}
