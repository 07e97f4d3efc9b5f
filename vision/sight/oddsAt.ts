import type { Point } from '../types.ts';
import { mapIndexAt } from './mapPlaces.ts';
import type { Sight } from './sightCards.ts';
import type { Sighted } from './sightPicture.ts';

/**
 * How likely a place of the photo shows something, 0…1; undefined out of the picture.
 *
 * @param p px of the photo
 * @example
 * oddsAt(await sightWhole(photo.rgb), 'cloth', { x: 800, y: 600 }); // 0.98
 */
export function oddsAt(
  { maps, scale }: Pick<Sight, 'maps' | 'scale'>,
  what: Sighted,
  p: Point,
): number | undefined {
  // An index of -1, out of the map, has no odds.
  return maps.shows[what][mapIndexAt(maps, scale, p)];
}
