/**
 * How far `value` has come from `none` (0) to `full` (1); the two may lie either way round.
 *
 * @example
 * ramp(0.4, 0.3, 0.5); // 0.5
 * ramp(9, 6, 3); // 0
 */
export function ramp(value: number, none: number, full: number): number {
  return Math.max(0, Math.min(1, (value - none) / (full - none)));
}
