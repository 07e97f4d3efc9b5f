import type { Uncertain } from './uncertain.ts';

export interface Propagated extends Uncertain {
  /** Share of the variance that each input brings, in the order of the inputs; sums to 1 (or all 0). */
  shares: number[];
}

/**
 * The law of propagation of uncertainty for independent inputs (JCGM 100:2008, 5.1.2, formula 10),
 * with sensitivities by central differences of half a standard uncertainty (5.1.3, note 2).
 *
 * @param model pure function of the input values; must be smooth near them.
 * @example
 * // a 150-stitch row at 13.5 ± 0.2 stitches per 10 cm, in mm
 * propagate(([gauge]) => (150 * 100) / gauge!, [{ value: 13.5, standardUncertainty: 0.2 }]);
 * // { value: 1111.1…, standardUncertainty: 16.4…, shares: [1] }
 */
export function propagate(model: (values: number[]) => number, inputs: readonly Uncertain[]): Propagated {
  const values = inputs.map((input) => input.value);
  const variances = inputs.map((input, index) => {
    const step = input.standardUncertainty / 2;
    if (!(step > 0)) return 0;
    const moved = values.slice();
    moved[index] = input.value + step;
    const up = model(moved);
    moved[index] = input.value - step;
    return (up - model(moved)) ** 2; // (∂f/∂x · u)², as the difference spans exactly one u
  });
  const total = variances.reduce((sum, variance) => sum + variance, 0);
  return {
    value: model(values),
    standardUncertainty: Math.sqrt(total),
    shares: variances.map((variance) => (total > 0 ? variance / total : 0)),
  };
}
