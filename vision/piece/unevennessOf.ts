/** What both outlines of a margin may be off by together, px: each is known to about a pixel. */
const KNOWN_TO_PX = 1.5;

/**
 * How unlike each other the depths of a margin are: the difference between the greatest and the least over their mean.
 *
 * @param depths at the halves of its sides, px
 * @param mean of them, px; less than a pixel counts as one
 * @example
 * unevennessOf([20, 22, 21, 25], 22); // 0.16
 */
export function unevennessOf(depths: readonly number[], mean: number): number {
  return Math.max(0, Math.max(...depths) - Math.min(...depths) - KNOWN_TO_PX) / Math.max(1, mean);
}
