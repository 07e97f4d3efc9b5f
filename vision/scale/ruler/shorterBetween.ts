import type { Point } from '../../types.ts';
import { toDecodedPx } from './halve.ts';
import type { Reading } from './readGraduations.ts';
import { medianOf } from './readTicks.ts';

/** How far a coarse tick may lie from the fine one that it is, fine pitches, and how many of them have to. */
const AT_MOST = 0.3;
const MOST_AGREE = 0.85;
/** Fewest coarse ticks found again. */
const LEAST_FOUND = 14;
/** What stands between is shorter than the shortest coarse ticks by this much. */
const SHORTER = 0.8;

/**
 * How far the ticks of a fine run reach that stand between those of a coarse one, px of the fine run's level, where
 * the coarse ticks are every other of the fine ones and the others are shorter: what stands so between eighths of an
 * inch are sixteenths, even where numerals and smear hide how long which of them are.
 *
 * @returns null where they are not
 */
export function shorterBetween(fine: Reading, coarse: Reading): number | null {
  if (!coarse.named) return null;
  const { levels } = coarse.named;
  const places = placesOf(fine);
  const found = placesOf(coarse).flatMap(({ point }, i) => {
    const at = nearestAlong(places, point);
    return at === null ? [] : [{ at, parity: mod2(at), level: levels[i] ?? 0 }];
  });
  const odd = found.filter((f) => f.parity === 1).length;
  const parity = 2 * odd > found.length ? 1 : 0;
  const agreeing = found.filter((f) => f.parity === parity);
  if (agreeing.length < LEAST_FOUND || agreeing.length < MOST_AGREE * found.length) return null;
  const reach = new Map(
    fine.run.ticks.map((t) => [t.index, coarse.side > 0 ? t.reachDown : t.reachUp] as const),
  );
  const shortest = Math.max(...agreeing.map((f) => f.level));
  const own = medianOf(agreeing.filter((f) => f.level === shortest).map((f) => reach.get(f.at)!));
  const between = medianOf([...reach].filter(([index]) => mod2(index) !== parity).map(([, r]) => r));
  return between < SHORTER * own ? between : null;
}

interface Place {
  index: number;
  /** Decoded px. */
  point: Point;
}

function placesOf({ run, band, level }: Reading): Place[] {
  return run.ticks.map((t) => {
    const p = band.toPoint(t.along, 0);
    return { index: t.index, point: { x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) } };
  });
}

/** Index of the tick that lies beside a point, if one does. */
function nearestAlong(places: readonly Place[], point: Point): number | null {
  let best: number | null = null;
  let least = AT_MOST;
  for (let i = 1; i < places.length; i++) {
    const [a, b] = [places[i - 1]!, places[i]!];
    const steps = b.index - a.index;
    const [dx, dy] = [(b.point.x - a.point.x) / steps, (b.point.y - a.point.y) / steps];
    const along = ((point.x - a.point.x) * dx + (point.y - a.point.y) * dy) / (dx * dx + dy * dy);
    const isA = Math.abs(along) < Math.abs(along - steps);
    const off = isA ? Math.abs(along) : Math.abs(along - steps);
    if (off < least) [best, least] = [isA ? a.index : b.index, off];
  }
  return best;
}

const mod2 = (value: number): number => Math.abs(value % 2);
