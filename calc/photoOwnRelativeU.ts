import type { Uncertain } from './uncertain.ts';

/**
 * What readings of one cloth share, however many photos there are of it: where the reader takes a stitch to end (the
 * floor of a gauge's uncertainty in `vision/gauge.ts`).
 */
export const READER_RELATIVE_U = 0.009;

/**
 * By how much two photos of the same cloth still differ where scale and lattice are known exactly: differences of 407 pairs
 * of development photos, each pair of one piece, ÷ their uncertainties, are then 0.92 (root mean square), and 4 % of them
 * lie beyond 1.96.
 */
const VIEW_RELATIVE_U = 0.002;

/**
 * Relative standard uncertainty of one photo's gauge that other photos of the same cloth do not share: its scale where
 * the cloth lies, and how plainly its stitches could be followed.
 *
 * @param gauge stitches per 10 cm as one photo gave them
 * @example
 * photoOwnRelativeU({ value: 14, standardUncertainty: 0.14 }).toFixed(4); // '0.0048'
 */
export function photoOwnRelativeU({ value, standardUncertainty }: Uncertain): number {
  const all = (standardUncertainty / value) ** 2;
  return Math.hypot(Math.sqrt(Math.max(0, all - READER_RELATIVE_U ** 2)), VIEW_RELATIVE_U);
}
