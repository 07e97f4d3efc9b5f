import { distance, type Quad } from '../scale/geometry.ts';
import type { SightedCard } from './sightCards.ts';

/** How far a corner of what the network sees lies from the true one, as a share of the card's long side. */
const CORNER_SD = 0.012;

/**
 * How well an outline that was measured agrees with a card that the network sees there, 0…1: nearness of the three
 * corners that agree best (one may be hidden, and then the network only guesses it), times how much it shows a card.
 *
 * @returns 0 where no card is seen; the larger the card is that it is compared with, the more is forgiven
 * @example
 * agreeWithSight(quad, sight.cards); // 0.97
 */
export function agreeWithSight(quad: Quad, cards: readonly SightedCard[]): number {
  return Math.max(0, ...cards.map((card) => card.cardness * nearness(quad, card.quad)));
}

function nearness(quad: Quad, seen: Quad): number {
  const long = Math.max(distance(seen[0], seen[1]), distance(seen[1], seen[2]));
  const turns = [0, 1, 2, 3].map((turn) => {
    const near = quad
      .map((p, i) => Math.exp(-0.5 * (distance(p, seen[(i + turn) % 4]!) / (CORNER_SD * long)) ** 2))
      .sort((p, q) => q - p);
    return (near[0]! + near[1]! + near[2]!) / 3;
  });
  return Math.max(...turns);
}
