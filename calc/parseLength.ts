import { parseQuantity, type QuantityUnit } from './parseQuantity.ts';

const UNITS: readonly QuantityUnit[] = [
  { spellings: ['mm', 'millimetre', 'millimetres', 'millimeter', 'millimeters'], size: 1 },
  {
    spellings: ['cm', 'cms', 'centimetre', 'centimetres', 'centimeter', 'centimeters'],
    size: 10,
    then: 'mm',
  },
  { spellings: ['in', 'ins', 'inch', 'inches', '"'], size: 25.4 },
  { spellings: ['ft', 'foot', 'feet', "'"], size: 304.8, then: 'in' },
  { spellings: ['yd', 'yds', 'yard', 'yards'], size: 914.4, then: 'in' },
  { spellings: ['m', 'metre', 'metres', 'meter', 'meters'], size: 1000, then: 'cm' },
];

/**
 * Reads a length as people type it, in millimetres: `35"`, `35 in`, `89 cm`, `2 ft 11`, `38½`, `1 m 20`.
 *
 * @param options.unit unit of a number written without one; without it a bare number is refused.
 * @throws CalcError `not-understood` or `unit-missing`.
 * @example
 * parseLength('2 ft 11'); // 889
 * parseLength('38½', { unit: 'in' }); // 977.9
 */
export function parseLength(
  text: string,
  options: { unit?: 'mm' | 'cm' | 'in'; field?: string } = {},
): number {
  return parseQuantity(text, {
    field: options.field ?? 'length',
    noun: 'length',
    units: UNITS,
    defaultUnit: options.unit,
    examples: '89 cm, 35 in, 38½" or 2 ft 11',
  });
}
