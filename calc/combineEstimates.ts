import type { Uncertain } from './uncertain.ts';

export interface Combined extends Uncertain {
  /** Weight of each input, summing to 1, in their order. */
  weights: number[];
  /** √(χ² ÷ (n − 1)) of the inputs about the combination; well above 1 means that they disagree. */
  birgeRatio: number;
}

/**
 * Several independent estimates of one quantity, combined by inverse variance. When they disagree by
 * more than their uncertainties allow, the combined uncertainty is widened by the Birge ratio
 * (R. T. Birge, Phys. Rev. 40, 207, 1932), never narrowed.
 *
 * @example
 * combineEstimates([{ value: 10, standardUncertainty: 1 }, { value: 12, standardUncertainty: 2 }]);
 * // value 10.4, standardUncertainty 0.894…, weights [0.8, 0.2]
 */
export function combineEstimates(estimates: readonly Uncertain[]): Combined {
  const inverse = estimates.map((each) => 1 / each.standardUncertainty ** 2);
  const sum = inverse.reduce((total, weight) => total + weight, 0);
  const weights = inverse.map((weight) => weight / sum);
  const value = estimates.reduce((total, each, index) => total + each.value * weights[index]!, 0);
  const chiSquared = estimates.reduce(
    (total, each, index) => total + (each.value - value) ** 2 * inverse[index]!,
    0,
  );
  const birgeRatio = estimates.length > 1 ? Math.sqrt(chiSquared / (estimates.length - 1)) : 0;
  return { value, standardUncertainty: Math.sqrt(1 / sum) * Math.max(1, birgeRatio), weights, birgeRatio };
}
