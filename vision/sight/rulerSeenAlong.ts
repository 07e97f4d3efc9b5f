import { alongLine } from '../scale/alongLine.ts';
import type { Point } from '../types.ts';
import type { SightedRulers } from './sightRulers.ts';

const STATIONS = 20;
/** Glare, fingers and a coarse map hide parts of a ruler; where this much of it is not seen, something else was read. */
const LEAST_SHARE = 0.25;

/**
 * Whether a ruler or tape is seen where ticks were read; rows of stitches have even lines across them as well.
 *
 * @param outlinePx along one edge of the ticks and back along the other, decoded px
 * @example
 * rulerSeenAlong(sightRulers(await sightThings(photo.rgb)), scale.outlinePx);
 */
export function rulerSeenAlong(rulers: Pick<SightedRulers, 'isAt'>, outlinePx: readonly Point[]): boolean {
  const half = outlinePx.length / 2;
  const edge = outlinePx.slice(0, half);
  const other = outlinePx.slice(half).reverse();
  let seen = 0;
  for (let i = 0; i < STATIONS; i++) {
    const [p, q] = [alongLine(edge, i / (STATIONS - 1)), alongLine(other, i / (STATIONS - 1))];
    if (rulers.isAt({ x: (p.x + q.x) / 2, y: (p.y + q.y) / 2 })) seen++;
  }
  return seen / STATIONS >= LEAST_SHARE;
}
