import { reweighOdds } from './lattice/reweighOdds.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';

/** Stitches per 10 cm that are usual for the yarn or the hook. */
export interface ExpectedGauge {
  low: number;
  high: number;
}

/**
 * Outside the usual range it thins out like a normal distribution of the logarithm: a fifth off is as common as one standard
 * deviation. Makers are told to go up or down a hook size or two, and each changes the width of a stitch by a tenth or so
 * (common practice).
 */
const LOG_SD = 0.2;

/** Nothing is quite impossible: the yarn may be held double, or another than was said. */
const LEAST = 0.02;

/**
 * How likely so many stitches per 10 cm are, against what is usual: from 1 within the range to 0.02 far from it.
 *
 * @example likelyAsExpected(24, { low: 10.8, high: 13.8 }); // 0.02: about twice the usual
 */
export function likelyAsExpected(stitchesPer10cm: number, { low, high }: ExpectedGauge): number {
  const off = Math.max(0, Math.log(low / stitchesPer10cm), Math.log(stitchesPer10cm / high));
  return Math.max(LEAST, Math.exp(-0.5 * (off / LOG_SD) ** 2));
}

/**
 * The odds of halves and doubles where the yarn is known: rows say little, but half or twice the stitches are seldom usual,
 * too.
 *
 * @param stitchesPer10cm as read
 */
export function asExpected(odds: OctaveOdds, stitchesPer10cm: number, expected: ExpectedGauge): OctaveOdds {
  return reweighOdds(odds, ({ stitch }) => likelyAsExpected(stitch * stitchesPer10cm, expected));
}
