/** Millimetres in an inch, exactly (international yard and pound agreement, 1959). */
export const MM_PER_INCH = 25.4;
/** Grams in an avoirdupois ounce, exactly (the same agreement: 1 lb = 453.59237 g). */
export const GRAMS_PER_OUNCE = 28.349523125;
/** Metres in a yard, exactly (the same agreement). */
export const METRES_PER_YARD = 0.9144;
/** Four inches in millimetres: 1.6 % more than 10 cm, so the two gauges are never mixed. */
export const MM_PER_4IN = 4 * MM_PER_INCH;
/** Ten centimetres in millimetres. */
export const MM_PER_10CM = 100;

export type LengthUnit = 'cm' | 'in';
