import { parseQuantity, type QuantityUnit } from './parseQuantity.ts';
import { METRES_PER_YARD } from './units.ts';

const UNITS: readonly QuantityUnit[] = [
  { spellings: ['cm', 'centimetre', 'centimetres', 'centimeter', 'centimeters'], size: 0.01 },
  { spellings: ['in', 'inch', 'inches', '"'], size: 0.0254 },
  { spellings: ['yd', 'yds', 'yard', 'yards', 'y'], size: METRES_PER_YARD, then: 'in' },
  { spellings: ['m', 'metre', 'metres', 'meter', 'meters'], size: 1, then: 'cm' },
];

/**
 * Reads a length of yarn as people type it, in metres: `210 m`, `230 yd`.
 *
 * @param options.unit unit of a number written without one; without it a bare number is refused.
 * @throws CalcError `not-understood` or `unit-missing`.
 * @example parseYarnLength('230 yd'); // 210.3…
 */
export function parseYarnLength(text: string, options: { unit?: 'm' | 'yd'; field?: string } = {}): number {
  return parseQuantity(text, {
    field: options.field ?? 'yarn length',
    noun: 'length of yarn',
    units: UNITS,
    defaultUnit: options.unit,
    examples: '210 m or 230 yd',
  });
}
