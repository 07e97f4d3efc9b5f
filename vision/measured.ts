import type { Measured } from './types.ts';

/**
 * A value with its 95 % interval (normal, coverage factor 1.96; JCGM 100:2008, 6.2).
 *
 * @example
 * measured(14.2, 0.1); // { value: 14.2, standardUncertainty: 0.1, low95: 14.004, high95: 14.396 }
 */
export function measured(value: number, standardUncertainty: number): Measured {
  return {
    value,
    standardUncertainty,
    low95: value - 1.96 * standardUncertainty,
    high95: value + 1.96 * standardUncertainty,
  };
}
