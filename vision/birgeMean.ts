/** A value, and how sure it is. */
export interface Sure {
  value: number;
  standardUncertainty: number;
}

/**
 * The mean of two measurements of one thing, weighted by their uncertainties, which grow by the Birge ratio where they lie
 * farther apart than these (R. T. Birge, Phys. Rev. 40, 207, 1932).
 *
 * @example
 * birgeMean({ value: 10, standardUncertainty: 1 }, { value: 10, standardUncertainty: 1 }).standardUncertainty.toFixed(3); // '0.707'
 */
export function birgeMean(a: Sure, b: Sure): Sure {
  const [wa, wb] = [a.standardUncertainty ** -2, b.standardUncertainty ** -2];
  const birge = Math.abs(a.value - b.value) / Math.hypot(a.standardUncertainty, b.standardUncertainty);
  return {
    value: (wa * a.value + wb * b.value) / (wa + wb),
    standardUncertainty: Math.max(1, birge) / Math.sqrt(wa + wb),
  };
}
