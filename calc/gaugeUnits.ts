import { MM_PER_10CM, MM_PER_4IN } from './units.ts';

/**
 * A gauge per 10 cm as one per 4 in: 1.6 % more, because 4 in is 101.6 mm.
 *
 * @example per10cmToPer4in(14); // 14.224
 */
export function per10cmToPer4in(per10cm: number): number {
  return (per10cm * MM_PER_4IN) / MM_PER_10CM;
}

/**
 * A gauge per 4 in as one per 10 cm.
 *
 * @example per4inToPer10cm(14); // 13.78
 */
export function per4inToPer10cm(per4in: number): number {
  return (per4in * MM_PER_10CM) / MM_PER_4IN;
}
