import { rulerStations } from '../scale/rulerStations.ts';
import type { Point } from '../types.ts';
import { mapIndexAt } from './mapPlaces.ts';
import { LEAST_CLOTH_SHARE, shareSeen } from './shareSeen.ts';
import type { Sight } from './sightCards.ts';

/** Places along a ruler or tape at which its sides are looked at. */
const STATIONS = 25;
/** What shows the ruler itself is passed over, up to so many map pixels: it is wider than the ticks that were read. */
const WIDEST_PX = 40;
/** Its shadow and the blur of its edge are passed over, too; then so many map pixels are looked at. */
const SHADOW_PX = 1;
const LOOKED_AT_PX = 3;
/** A ruler is longer than a swatch is wide: so much of it must have cloth on both sides. */
const LEAST_SHARE = 0.15;
/** Mean odds of cloth beside it from which on there is some, and below which there is none. */
const CLOTH = 0.5;
const NONE = 0.3;

/**
 * Whether a ruler or tape lies on the cloth: then cloth is seen on both of its sides. A swatch that it lies across can be
 * read on one side of it only, so that the outline of what was read does not tell.
 *
 * @param outlinePx along one edge of its ticks and back along the other, decoded px
 * @returns undefined where it cannot be told
 * @example
 * clothBothSides(await sightThings(photo.rgb), scale.outlinePx); // true
 */
export function clothBothSides(
  { maps, scale }: Pick<Sight, 'maps' | 'scale'>,
  outlinePx: readonly Point[],
): boolean | undefined {
  if (shareSeen(maps, 'cloth') <= LEAST_CLOTH_SHARE) return undefined;
  const stepPx = 2 / scale;
  let both = 0;
  let touching = 0;
  for (const [p, q] of rulerStations(outlinePx, STATIONS)) {
    const width = Math.max(1e-6, Math.hypot(q.x - p.x, q.y - p.y));
    const out = { x: (stepPx * (q.x - p.x)) / width, y: (stepPx * (q.y - p.y)) / width };
    const odds = [clothBeyond(maps, scale, p, { x: -out.x, y: -out.y }), clothBeyond(maps, scale, q, out)];
    if (odds.every((o) => o > CLOTH)) both++;
    if (odds.some((o) => o > NONE)) touching++;
  }
  if (both / STATIONS >= LEAST_SHARE) return true;
  return touching / STATIONS < LEAST_SHARE ? false : undefined;
}

/** Mean odds of cloth just beyond the ruler in a direction, one map pixel a step; 0 out of the picture. */
function clothBeyond(maps: Sight['maps'], scale: number, from: Point, step: Point): number {
  const at = (k: number): number =>
    mapIndexAt(maps, scale, { x: from.x + k * step.x, y: from.y + k * step.y });
  let k = 1;
  while (k < WIDEST_PX && (maps.shows.ruler[at(k)] ?? 0) > 0.5) k++;
  let sum = 0;
  for (let i = 1; i <= LOOKED_AT_PX; i++) sum += maps.shows.cloth[at(k + SHADOW_PX + i)] ?? 0;
  return sum / LOOKED_AT_PX;
}
