import { parseQuantity, type QuantityUnit } from './parseQuantity.ts';
import { GRAMS_PER_OUNCE } from './units.ts';

const UNITS: readonly QuantityUnit[] = [
  { spellings: ['g', 'gr', 'gram', 'grams', 'gramme', 'grammes'], size: 1 },
  { spellings: ['oz', 'ounce', 'ounces'], size: GRAMS_PER_OUNCE },
  { spellings: ['lb', 'lbs', 'pound', 'pounds'], size: 16 * GRAMS_PER_OUNCE, then: 'oz' },
  { spellings: ['kg', 'kilo', 'kilos', 'kilogram', 'kilograms'], size: 1000, then: 'g' },
];

/**
 * Reads a weight as people type it, in grams: `100 g`, `3.5 oz`, `1 lb 2`.
 *
 * @param options.unit unit of a number written without one; without it a bare number is refused.
 * @throws CalcError `not-understood` or `unit-missing`.
 * @example parseWeight('3½ oz'); // 99.2…
 */
export function parseWeight(text: string, options: { unit?: 'g' | 'oz'; field?: string } = {}): number {
  return parseQuantity(text, {
    field: options.field ?? 'weight',
    noun: 'weight',
    units: UNITS,
    defaultUnit: options.unit,
    examples: '100 g, 3.5 oz or 1 lb 2 oz',
  });
}
