import { MM_PER_INCH, type LengthUnit } from './units.ts';

/** What lengths for people are rounded to. */
export const LENGTH_STEP_MM: Record<LengthUnit, number> = { cm: 5, in: MM_PER_INCH / 4 };

/**
 * A length for people: centimetres to the nearest half, or inches to the nearest quarter.
 *
 * @example
 * formatLength(889, 'in'); // '35 in'
 * formatLength(1234, 'cm'); // '123.5 cm'
 */
export function formatLength(mm: number, unit: LengthUnit): string {
  if (unit === 'cm') return `${Math.round(mm / LENGTH_STEP_MM.cm) / 2} cm`;
  const quarters = Math.round(mm / LENGTH_STEP_MM.in);
  const whole = Math.trunc(quarters / 4);
  const fraction = ['', '¼', '½', '¾'][Math.abs(quarters % 4)]!;
  return `${whole === 0 && fraction ? '' : whole}${fraction} in`;
}
