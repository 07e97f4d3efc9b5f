import { GRAMS_PER_OUNCE, METRES_PER_YARD } from './units.ts';

/**
 * A weight for people: whole grams, or ounces to a tenth.
 *
 * @example formatWeight(99.2, 'oz'); // '3.5 oz'
 */
export function formatWeight(grams: number, unit: 'g' | 'oz'): string {
  return unit === 'g' ? `${Math.round(grams)} g` : `${Math.round((grams / GRAMS_PER_OUNCE) * 10) / 10} oz`;
}

/**
 * A length of yarn for people: whole metres or yards.
 *
 * @example formatYarnLength(210.3, 'yd'); // '230 yd'
 */
export function formatYarnLength(metres: number, unit: 'm' | 'yd'): string {
  return unit === 'm' ? `${Math.round(metres)} m` : `${Math.round(metres / METRES_PER_YARD)} yd`;
}
