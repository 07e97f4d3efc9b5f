import { mean as meanOf } from 'simple-statistics';
import { halvesOf } from './halvesOf.ts';
import { MOST_SAID } from './pixelClasses.ts';
import { rimOf } from './rimOf.ts';
import { unevennessOf } from './unevennessOf.ts';

/** A border is no deeper than this, in half widths of what it goes around. */
export const DEEPEST_BORDER = 0.4;

/** What lies right beside an outline, as far as it goes on. */
export interface Band {
  /** How far that is, on average over the halves of its sides, px. */
  depth: number;
  /** The difference between the greatest and the least of them over their mean. */
  uneven: number;
  /** What each class says for it and against what lies beyond, nats. */
  said: Float64Array;
}

/** Nearer to an outline than this its own blur and shadow are seen, px. */
const BLURRED_PX = 4;
/** What all eight halves have to say for what lies beside and, all but one, against it beyond its end: nats a pixel. */
const LEAST_WITHIN = 0.7;
const LEAST_AFTER = 0.4;
const BAND_ROUNDS = 4;

/**
 * How far what lies right beside an outline goes on, half side by half side: what looks like it is told from what lies
 * farther off, and its end is the likeliest change point of all places as far from the outline (Hinkley, 1970). A pale
 * border on pale marble is told so by the mix of its looks, where single places tell nothing.
 *
 * @param mask above 0 within the outline; rows of `w` pixels, as `away`, `classOf` and `known`
 * @param away how far each pixel lies from it, px
 * @param deepest how far the middle of what it encloses lies from it, px
 * @returns null where it does not end, or does not stand out, at some half
 */
export function bandBeside(
  mask: Uint8Array,
  away: Float32Array,
  deepest: number,
  { w, classOf, count, known }: { w: number; classOf: Uint8Array; count: number; known: Uint8Array },
): Band | null {
  const reach = Math.round(1.5 * DEEPEST_BORDER * deepest);
  const width = Math.max(6, 0.1 * deepest);
  const rim = rimOf(mask, w, mask.length / w);
  if (rim.length < 40 || reach < BLURRED_PX + width) return null;
  const halfAt = halvesOf(rim);
  // How often each class is seen so far off beside each half.
  const seen = new Float64Array(8 * reach * count);
  const far = new Float64Array(count).fill(0.5);
  for (let i = 0; i < away.length; i++) {
    if (!known[i] || mask[i]) continue;
    const d = Math.round(away[i]!);
    if (d > BLURRED_PX + 4 * width) far[classOf[i]!]!++;
    if (d >= reach) continue;
    const half = halfAt(i % w, Math.floor(i / w));
    if (half >= 0) seen[(half * reach + d) * count + classOf[i]!]!++;
  }
  let halves: BandHalf[] = [];
  let depths = new Array<number>(8).fill(Math.round(BLURRED_PX + width));
  let said = new Float64Array(count);
  for (let round = 0; round < BAND_ROUNDS; round++) {
    const near = new Float64Array(count).fill(0.5);
    const beyond = round === 0 ? far : new Float64Array(count).fill(0.5);
    depths.forEach((depth, half) => {
      for (let d = BLURRED_PX; d < reach; d++) {
        const into = d < depth - 1 ? near : round > 0 && d > depth + 1 ? beyond : null;
        if (into) for (let c = 0; c < count; c++) into[c]! += seen[(half * reach + d) * count + c]!;
      }
    });
    const all = near.reduce((a, b) => a + b, 0);
    const none = beyond.reduce((a, b) => a + b, 0);
    said = near.map((v, c) =>
      Math.max(-MOST_SAID, Math.min(MOST_SAID, Math.log(v / all) - Math.log(beyond[c]! / none))),
    );
    halves = depths.map((_, half) => endOfBand(seen, said, half * reach, reach, width));
    depths = halves.map(({ depth }) => depth);
  }
  // Something like it may lie beyond one of its ends: a vein in marble, a rug's fringe.
  const plain = halves.filter(({ after }) => after <= -LEAST_AFTER).map(({ depth }) => depth);
  const depth = meanOf(plain.length > 0 ? plain : [0]);
  const stands = halves.every(({ depth: own, within }) => within >= LEAST_WITHIN && own >= 0.75 * depth);
  if (plain.length < 7 || !stands || depth > DEEPEST_BORDER * deepest) return null;
  return { depth, uneven: unevennessOf(plain, depth), said };
}

/** The end of a band at one half of a side. */
interface BandHalf {
  depth: number;
  within: number;
  after: number;
}

/** Up to which distance most is said for the band, and beyond it against it; what is said within and right after, nats a pixel. */
function endOfBand(
  seen: Float64Array,
  said: Float64Array,
  from: number,
  reach: number,
  width: number,
): BandHalf {
  const count = said.length;
  const at = Array.from({ length: reach }, (_, d) => {
    let n = 0;
    let sum = 0;
    for (let c = 0; c < count; c++) {
      const k = seen[(from + d) * count + c]!;
      n += k;
      sum += k * said[c]!;
    }
    return n > 0 ? sum / n : 0;
  });
  let depth = 0;
  let most = 0;
  let sum = 0;
  for (let d = BLURRED_PX; d < reach; d++) {
    sum += at[d]!;
    if (sum > most) [most, depth] = [sum, d + 1];
  }
  const mean = (low: number, high: number): number =>
    at.slice(low, high).reduce((a, b) => a + b, 0) / Math.max(1, Math.min(high, reach) - low);
  return { depth, within: mean(BLURRED_PX, depth), after: mean(depth, Math.round(depth + width)) };
}
