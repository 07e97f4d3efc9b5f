import type { Quad } from '../scale/geometry.ts';
import type { Point } from '../types.ts';
import { clothAround } from './clothAround.ts';
import { oddsAt } from './oddsAt.ts';
import type { Sight } from './sightCards.ts';

/** Odds of cloth from which on a place is taken to lie under it. */
const COVERED = 0.5;

/**
 * Tells where cloth lies over a flat thing with four sides.
 *
 * @param quad its corners, decoded px
 * @returns whether a place, decoded px, shows cloth; undefined where the thing lies on the cloth instead
 */
export function clothOver(
  sight: Pick<Sight, 'maps' | 'scale'>,
  quad: Quad,
): ((p: Point) => boolean) | undefined {
  if (clothAround(sight, quad)) return undefined;
  return (p) => (oddsAt(sight, 'cloth', p) ?? 0) > COVERED;
}
