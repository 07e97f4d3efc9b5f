import type { Sighted, SightMaps } from './sightPicture.ts';

/** Least share of the picture where cloth is seen: where it is not, that none is seen at a place says nothing. */
export const LEAST_CLOTH_SHARE = 0.03;

/**
 * Share of the picture, 0…1, that shows something more likely than not.
 *
 * @example
 * shareSeen(sight.maps, 'paper') > 0; // there is some
 */
export function shareSeen({ shows }: Pick<SightMaps, 'shows'>, what: Sighted): number {
  const odds = shows[what];
  let count = 0;
  for (let i = 0; i < odds.length; i++) if (odds[i]! > 0.5) count++;
  return count / odds.length;
}
