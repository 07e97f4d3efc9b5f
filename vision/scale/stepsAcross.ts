import type { RgbImage } from '../types.ts';
import { centroid, distance, mix, type Quad } from './geometry.ts';
import { colourAt } from './roundness.ts';

/** How far inside and outside a side colours are compared, shares of the way from the middle to it. */
const INSIDE = 0.97;
const OUTSIDE = 1.03;
/** Parts of a side that are compared one by one, and places in each. */
const PARTS = 8;
const PLACES = 12;

/**
 * How far the colour just inside each side of an outline differs from that just outside, levels: the median over parts
 * of the side, of each part's median colours. A printed line has the same paper on both of its sides.
 */
export function stepsAcross(rgb: RgbImage, quad: Quad): number[] {
  const middle = centroid(quad);
  return quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    if (distance(from, to) < PARTS * PLACES) return Infinity;
    const steps: number[] = [];
    for (let part = 0; part < PARTS; part++) {
      const colourOf = (share: number): number[] | null => {
        const seen: [number, number, number][] = [];
        for (let k = 0; k < PLACES; k++) {
          const t = 0.06 + (0.88 * (part + (k + 0.5) / PLACES)) / PARTS;
          const c = colourAt(rgb, mix(middle, mix(from, to, t), share));
          if (c) seen.push(c);
        }
        if (seen.length < PLACES / 2) return null;
        return [0, 1, 2].map((ch) => seen.map((c) => c[ch]!).sort((p, q) => p - q)[seen.length >> 1]!);
      };
      const inside = colourOf(INSIDE);
      const outside = colourOf(OUTSIDE);
      if (inside && outside) steps.push(Math.hypot(...inside.map((v, ch) => v - outside[ch]!)));
    }
    return steps.sort((p, q) => p - q)[steps.length >> 1] ?? Infinity;
  });
}
