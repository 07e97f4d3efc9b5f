/**
 * Positions (from 1) at which `count` changes are spread over `over` places as evenly as can be, the
 * first and last gaps half as long as the others.
 *
 * @example spreadEvenly(3, 30); // [5, 15, 25]
 */
export function spreadEvenly(count: number, over: number): number[] {
  return Array.from({ length: count }, (_, index) =>
    Math.min(over, Math.max(1, Math.round(((index + 0.5) * over) / count))),
  );
}
