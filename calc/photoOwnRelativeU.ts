import type { Uncertain } from './uncertain.ts';

/**
 * What readings of one cloth share, however many photos there are of it: where the reader takes a stitch to end (the
 * floor of a gauge's uncertainty in `vision/gauge.ts`).
 */
export const READER_RELATIVE_U = 0.011;

/**
 * By how much two photos of the same cloth still differ where scale and lattice are known exactly: the gauges of 167
 * development photos of parts, ÷ what is left of their uncertainties, are then 1.0 with cards and 0.8 with sheets (root mean
 * square).
 */
const VIEW_RELATIVE_U = 0.003;

/**
 * Relative standard uncertainty of one photo's gauge that other photos of the same cloth do not share: its scale where
 * the cloth lies, and how plainly its stitches could be followed.
 *
 * @param gauge stitches per 10 cm as one photo gave them
 * @example
 * photoOwnRelativeU({ value: 14, standardUncertainty: 0.17 }).toFixed(4); // '0.0060'
 */
export function photoOwnRelativeU({ value, standardUncertainty }: Uncertain): number {
  const all = (standardUncertainty / value) ** 2;
  return Math.hypot(Math.sqrt(Math.max(0, all - READER_RELATIVE_U ** 2)), VIEW_RELATIVE_U);
}
