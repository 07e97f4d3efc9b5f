import { CalcError } from './errors.ts';
import type { Rounding } from './planSpec.ts';

export interface ChooseOptions<T> {
  /** Ascending in size. */
  options: readonly T[];
  sizeMm: (option: T) => number;
  targetMm: number;
  rounding: Rounding;
  field: string;
}

/**
 * Index of the option that meets the target: nearest (the larger of two equally near), the smallest
 * that is not smaller, or the largest that is not larger.
 *
 * @throws CalcError `impossible` when no option is on the asked-for side of the target.
 * @example
 * chooseOption({ options: [80, 90, 100], sizeMm: (s) => s, targetMm: 92, rounding: 'not-smaller', field: 'w' }); // 2
 */
export function chooseOption<T>({ options, sizeMm, targetMm, rounding, field }: ChooseOptions<T>): number {
  const slackMm = 1e-6; // a hit within rounding error of the arithmetic counts as a hit
  let best = -1;
  options.forEach((option, index) => {
    const off = sizeMm(option) - targetMm;
    if (rounding === 'not-smaller' && off < -slackMm) return;
    if (rounding === 'not-larger' && off > slackMm) return;
    if (best < 0 || Math.abs(off) <= Math.abs(sizeMm(options[best]!) - targetMm)) best = index;
  });
  if (best < 0) {
    throw new CalcError(
      'impossible',
      field,
      {
        code: rounding === 'not-larger' ? 'refuse.noneSmall' : 'refuse.noneLarge',
        values: { target: { lengthMm: targetMm } },
      },
      `a target the pattern's repeat fits into, or rounding 'nearest'`,
    );
  }
  return best;
}
