import { centroid, distance, type Quad } from '../scale/geometry.ts';
import { oddsAt } from './oddsAt.ts';
import { LEAST_CLOTH_SHARE, shareSeen } from './shareSeen.ts';
import type { Sight } from './sightCards.ts';

/** How far outside a thing's sides is looked, as shares of its longest side: clear of its shadow and its edge. */
const OUTSIDE = [0.05, 0.07, 0.09] as const;
const STEPS = 20;
/** Mean odds of cloth all round. On 82 development scenes: on the cloth 0.66 and more, beside or under it 0.22 and less. */
const ON = 0.5;
const BESIDE = 0.3;

/**
 * Whether a flat thing with four sides lies on the cloth: then cloth is seen all round it.
 *
 * @param quad its corners, decoded px
 * @returns undefined where it cannot be told
 * @example
 * clothAround(await sightThings(photo.rgb), card.quad); // true
 */
export function clothAround(sight: Pick<Sight, 'maps' | 'scale'>, quad: Quad): boolean | undefined {
  const middle = centroid(quad);
  const longest = Math.max(distance(quad[0], quad[1]), distance(quad[1], quad[2]));
  let sum = 0;
  let count = 0;
  quad.forEach((a, i) => {
    const b = quad[(i + 1) % 4]!;
    const length = distance(a, b);
    const across = { x: (b.y - a.y) / length, y: (a.x - b.x) / length };
    const half = { x: (a.x + b.x) / 2 - middle.x, y: (a.y + b.y) / 2 - middle.y };
    const outward = Math.sign(across.x * half.x + across.y * half.y);
    for (const share of OUTSIDE) {
      const o = outward * share * longest;
      for (let k = 0; k <= STEPS; k++) {
        const t = k / STEPS;
        const seen = oddsAt(sight, 'cloth', {
          x: a.x + t * (b.x - a.x) + o * across.x,
          y: a.y + t * (b.y - a.y) + o * across.y,
        });
        if (seen === undefined) continue;
        sum += seen;
        count++;
      }
    }
  });
  if (count === 0) return undefined;
  if (sum / count > ON) return true;
  return sum / count < BESIDE && shareSeen(sight.maps, 'cloth') > LEAST_CLOTH_SHARE ? false : undefined;
}
