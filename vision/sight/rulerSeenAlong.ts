import { rulerStations } from '../scale/rulerStations.ts';
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
  const seen = rulerStations(outlinePx, STATIONS).filter(([p, q]) =>
    rulers.isAt({ x: (p.x + q.x) / 2, y: (p.y + q.y) / 2 }),
  );
  return seen.length / STATIONS >= LEAST_SHARE;
}
