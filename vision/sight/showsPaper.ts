import { shareSeen } from './shareSeen.ts';
import type { Sight } from './sightCards.ts';

/**
 * Least share of a photo that paper takes where a printed sheet is to be looked for. On development scenes it took
 * 10 % and more in all 68 photos with a sheet, and nothing in 30 photos of other things.
 */
const LEAST_SHARE = 0.002;

/** Whether any paper is seen: without, a printed sheet is unlikely. */
export function showsPaper({ maps }: Pick<Sight, 'maps'>): boolean {
  return shareSeen(maps, 'paper') > LEAST_SHARE;
}
