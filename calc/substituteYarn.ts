import { checkNumber } from './checkNumber.ts';
import { skeinsForSafety } from './runningOut.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

export interface SubstituteYarnOptions {
  /** Need in the yarn of the plan. */
  metres: Uncertain;
  /** Label of the other yarn. */
  skeinGrams: number;
  skeinMetres: number;
}

export interface SubstitutedYarn {
  metres: Estimate;
  grams: Estimate;
  /** Fewest skeins with at most 5 % chance of running out. */
  skeins: number;
}

/**
 * What another yarn of the same thickness needs: the same length, so the weight goes with its grams per
 * metre. Worked at the same gauge; a swatch decides whether that holds.
 *
 * @example
 * substituteYarn({ metres: { value: 720, standardUncertainty: 26 }, skeinGrams: 50, skeinMetres: 80 }).grams.value; // 450
 */
export function substituteYarn(options: SubstituteYarnOptions): SubstitutedYarn {
  const skeinGrams = checkNumber('skeinGrams', options.skeinGrams, { min: 1, max: 5000, unit: 'g' });
  const skeinMetres = checkNumber('skeinMetres', options.skeinMetres, { min: 1, max: 50_000, unit: 'm' });
  const { value, standardUncertainty } = options.metres;
  const gramsPerMetre = skeinGrams / skeinMetres;
  const grams = estimate(value * gramsPerMetre, standardUncertainty * gramsPerMetre, 0);
  return {
    metres: estimate(value, standardUncertainty, 0),
    grams,
    skeins: skeinsForSafety(grams, skeinGrams),
  };
}
