import type { Quad } from '../scale/geometry.ts';
import { mapToPhoto } from './mapPlaces.ts';
import { outlineQuads } from './outlineQuads.ts';
import type { Sight } from './sightCards.ts';

/** Smallest patch, share of the picture: our sheet is told from other things by what is printed on it. */
const LEAST_AREA = 0.004;
const MOST = 3;
const LEAST_ODDS = 1e-5;

/**
 * Quadrilaterals in which our printed sheet may lie, largest first, decoded px: about what the network takes for paper
 * or for a card, as small sheets look like cards to it.
 */
export function sightSheets({ maps, scale }: Pick<Sight, 'maps' | 'scale'>): Quad[] {
  const { widthPx, heightPx, shows } = maps;
  const data = shows.paper.map((paper, i) => {
    const p = Math.min(1, paper + shows.card[i]!);
    return Math.log((p + LEAST_ODDS) / (1 - p + LEAST_ODDS));
  });
  return outlineQuads({ widthPx, heightPx, data }, LEAST_AREA * widthPx * heightPx)
    .slice(0, MOST)
    .map(({ quad }) => quad.map((p) => mapToPhoto(p, scale)) as Quad);
}
