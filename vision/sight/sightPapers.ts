import { centroid, mix, type Quad } from '../scale/geometry.ts';
import type { Point } from '../types.ts';
import { mapToPhoto } from './mapPlaces.ts';
import { oddsAt } from './oddsAt.ts';
import { outlineQuads } from './outlineQuads.ts';
import type { Sight } from './sightCards.ts';

type Seen = Pick<Sight, 'maps' | 'scale'>;

/** Smallest patch of paper, share of the picture. */
const LEAST_AREA = 0.012;
const LEAST_ODDS = 1e-5;

/** Quadrilaterals about what the network takes for paper, largest first, decoded px: within 0.5 % of the long side in half of the cases. */
export function sightPapers({ maps, scale }: Seen): Quad[] {
  const { widthPx, heightPx, shows } = maps;
  const data = shows.paper.map((p) => Math.log((p + LEAST_ODDS) / (1 - p + LEAST_ODDS)));
  return outlineQuads({ widthPx, heightPx, data }, LEAST_AREA * widthPx * heightPx).map(
    ({ quad }) => quad.map((p) => mapToPhoto(p, scale)) as Quad,
  );
}

/** Strips inside and outside a side, as shares of the way from the middle to it. */
const INSIDE = [0.9, 0.94] as const;
const OUTSIDE = [1.06, 1.1] as const;

/** What the network sees along one side of an outline: mean odds of paper just inside and just outside. */
export interface SeenAcross {
  inside: number;
  outside: number;
}

/** Paper just inside and outside each side of an outline, to the network, side by side. */
export function paperAcross(sight: Seen, quad: Quad): SeenAcross[] {
  const middle = centroid(quad);
  const strip = (from: Point, to: Point, shares: readonly number[]): number => {
    let sum = 0;
    let count = 0;
    for (const share of shares)
      for (let t = 0.06; t < 0.95; t += 0.04) {
        sum += oddsAt(sight, 'paper', mix(middle, mix(from, to, t), share)) ?? 0;
        count++;
      }
    return sum / count;
  };
  return quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    return { inside: strip(from, to, INSIDE), outside: strip(from, to, OUTSIDE) };
  });
}

/**
 * How far each side of an outline is one of paper: what is seen inside it less what is seen outside, −1…1, the least
 * first. Work that lies over a side takes it away, so that three sides are as much as can be asked for.
 */
export const paperSides = (across: readonly SeenAcross[]): number[] =>
  across.map(({ inside, outside }) => inside - outside).sort((p, q) => p - q);
