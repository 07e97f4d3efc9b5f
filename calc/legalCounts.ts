import type { Multiple } from './stitches.ts';

/**
 * Whether `count` is m × k + plus with a whole k ≥ 1 of the right parity.
 *
 * @example isLegalCount(104, { m: 6, plus: 2, parity: 'odd' }); // true: 6 × 17 + 2
 */
export function isLegalCount(count: number, multiple: Multiple): boolean {
  const k = (count - multiple.plus) / multiple.m;
  if (!Number.isInteger(k) || k < 1) return false;
  return multiple.parity === 'any' || (multiple.parity === 'odd') === (k % 2 === 1);
}

/** Distance between two neighbouring legal counts. */
export function legalStep(multiple: Multiple): number {
  return multiple.parity === 'any' ? multiple.m : 2 * multiple.m;
}

/** The smallest legal count. */
export function smallestLegalCount(multiple: Multiple): number {
  return multiple.m * (multiple.parity === 'even' ? 2 : 1) + multiple.plus;
}
