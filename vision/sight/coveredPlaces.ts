import type { Point } from '../types.ts';
import { mapIndexAt } from './mapPlaces.ts';
import type { Sight } from './sightCards.ts';

/** Odds from which on a thing hides what lies beneath. */
const LEAST_ODDS = 0.5;

/**
 * Where a ruler, a tape or a card is seen, all of it and not only the ticks that were read: cloth may go on beneath.
 * Paper does not count, for a swatch lies on it more often than under it.
 *
 * @returns whether a place, px of the photo, is such
 * @example
 * coveredPlaces(await sightWhole(photo.rgb))({ x: 800, y: 600 }); // true where the ruler lies
 */
export function coveredPlaces({ maps, scale }: Pick<Sight, 'maps' | 'scale'>): (p: Point) => boolean {
  const { ruler, card } = maps.shows;
  return (p) => {
    const at = mapIndexAt(maps, scale, p);
    return at >= 0 && ruler[at]! + card[at]! > LEAST_ODDS;
  };
}
