import type { Point } from '../types.ts';
import { oddsAt } from './oddsAt.ts';
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
export function coveredPlaces(sight: Pick<Sight, 'maps' | 'scale'>): (p: Point) => boolean {
  return (p) => (oddsAt(sight, 'ruler', p) ?? 0) + (oddsAt(sight, 'card', p) ?? 0) > LEAST_ODDS;
}
