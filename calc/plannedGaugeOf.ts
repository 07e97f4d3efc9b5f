import type { Plan } from './planPiece.ts';

/**
 * The gauge that a plan was made with, without its uncertainty.
 *
 * @example
 * plannedGaugeOf(planPiece(spec)); // { stitchesPer10cm: 13.5, rowsPer10cm: 9.1 }
 */
export function plannedGaugeOf({ gauge }: Pick<Plan, 'gauge'>): {
  stitchesPer10cm: number;
  rowsPer10cm: number;
} {
  return { stitchesPer10cm: gauge.stitchesPer10cm.value, rowsPer10cm: gauge.rowsPer10cm.value };
}
