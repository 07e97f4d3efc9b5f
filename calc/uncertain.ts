/** A value with its standard uncertainty (JCGM 100:2008), both in the same unit. */
export interface Uncertain {
  value: number;
  standardUncertainty: number;
}

/** Nothing, surely. */
export const NONE: Uncertain = { value: 0, standardUncertainty: 0 };

/** An `Uncertain` with the ends of its 95 % interval. */
export interface Estimate extends Uncertain {
  low95: number;
  high95: number;
}

/** Coverage factor of a 95 % interval of a normal distribution (JCGM 100:2008, table G.1). */
export const COVERAGE_95 = 1.959963984540054;

/**
 * A normal estimate with its 95 % interval, `value ± 1.96 u`.
 *
 * @param floor lowest possible value; a length or a weight can't be negative.
 * @example estimate(890, 10).low95; // 870.4…
 */
export function estimate(value: number, standardUncertainty: number, floor = -Infinity): Estimate {
  return {
    value,
    standardUncertainty,
    low95: Math.max(floor, value - COVERAGE_95 * standardUncertainty),
    high95: value + COVERAGE_95 * standardUncertainty,
  };
}
