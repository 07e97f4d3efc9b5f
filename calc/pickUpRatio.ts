import { checkNumber } from './checkNumber.ts';

export interface PickUpRatio {
  /** Work `take` border stitches into every `per` rows (or stitches). */
  take: number;
  per: number;
  /** take ÷ per ÷ exact: above 1 the border is fuller than the edge, below 1 it draws in. */
  fullness: number;
}

export interface PickUpOptions {
  /** Row height (or stitch width) of the edge, mm. */
  edgeUnitMm: number;
  /** Width of one border stitch, mm. */
  borderStitchMm: number;
  /** How far the border may be eased, as a share; 8 % lies unseen once washed (common practice). */
  tolerance?: number;
}

/**
 * The small-integer ratio at which border stitches are worked into an edge: the fraction with the
 * smallest denominator that lies within the easing tolerance of edge unit ÷ border stitch width, and
 * the closest of these. Makers' "3 dc for every 2 rows of hdc" follows from the gauges by itself.
 *
 * @example
 * pickUpRatio({ edgeUnitMm: 11.1, borderStitchMm: 7.5 }).take; // 3, into every 2 (exact 1.48)
 */
export function pickUpRatio({ edgeUnitMm, borderStitchMm, tolerance = 0.08 }: PickUpOptions): PickUpRatio {
  checkNumber('border.edgeUnitMm', edgeUnitMm, { min: 0.1, max: 200, unit: 'mm' });
  checkNumber('border.borderStitchMm', borderStitchMm, { min: 0.1, max: 200, unit: 'mm' });
  const exact = edgeUnitMm / borderStitchMm;
  let best: PickUpRatio | undefined;
  for (let per = 1; per <= 10; per++) {
    const take = Math.max(1, Math.round(exact * per));
    const fullness = take / per / exact;
    if (Math.abs(fullness - 1) <= tolerance) return { take, per, fullness };
    if (!best || Math.abs(fullness - 1) < Math.abs(best.fullness - 1)) best = { take, per, fullness };
  }
  return best!;
}
