import { reweighOdds } from './lattice/reweighOdds.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';

/** The gauge that a piece was planned with: what its swatch had, or what an earlier photo of it showed. */
export interface PlannedGauge {
  stitchesPer10cm: number;
  rowsPer10cm: number;
}

/** Mean stitch width and row height, px. */
export interface Pitches {
  stitchPitchPx: number;
  rowPitchPx: number;
}

/**
 * As a rule a piece lies about where it was planned, either axis and its proportions: within `level`, natural logarithm, as likely
 * anywhere, so that the plan tells counts apart and never draws a reading towards itself, and thinning out beyond that. What was
 * read with a wave that slipped lies off by a tenth to a fifth as a rule.
 */
const AS_A_RULE = { level: 0.07, sd: 0.03 };
/** One piece in so many lies farther off: one hook size makes a stitch wider or narrower by a tenth or so (common practice). */
const FARTHER = { share: 0.1, sd: 0.15 };

/** Less likely than this is unlike the plan: a quarter off on one axis, or 18 % on both. */
export const UNLIKE = 0.03;

/** Nothing is quite impossible: the plan may have been made with another yarn. */
const LEAST = 0.002;

/**
 * How likely another lattice altogether is to be as planned: it would hardly have these pitches by chance. Spread evenly over half to twice either pitch,
 * it would have them within two standard deviations once in twenty times; twice that, since wrong lattices share one axis
 * with the right one often.
 */
export const OTHER = 0.1;

/**
 * How likely a lattice of these pitches is to be the piece's, from about 1 as planned to 0.002 far from it.
 *
 * @param pxPerMm null where no scale is known: then only the proportions are held against the plan
 *
 * @example
 * likelyAsPlanned({ stitchPitchPx: 14, rowPitchPx: 10 }, { stitchesPer10cm: 14, rowsPer10cm: 20 }, 2); // 1
 * likelyAsPlanned({ stitchPitchPx: 10, rowPitchPx: 14 }, { stitchesPer10cm: 14, rowsPer10cm: 20 }, null); // 0.002
 */
export function likelyAsPlanned(pitches: Pitches, planned: PlannedGauge, pxPerMm: number | null): number {
  const perPitch = 100 * (pxPerMm ?? 1);
  const stitch = Math.log(perPitch / pitches.stitchPitchPx / planned.stitchesPer10cm);
  const row = Math.log(perPitch / pitches.rowPitchPx / planned.rowsPer10cm);
  const beyond = (log: number): number => Math.max(0, Math.abs(log) - AS_A_RULE.level);
  const normal = (squared: number, sd: number): number => Math.exp((-0.5 * squared) / sd ** 2);
  const { share, sd } = FARTHER;
  // Both axes of one hand change together as a rule, so that proportions keep as close as either.
  const proportions = beyond(row - stitch) ** 2;
  const asARule = pxPerMm === null ? proportions : beyond(stitch) ** 2 + beyond(row) ** 2 + proportions;
  const farther = pxPerMm === null ? (row - stitch) ** 2 : stitch ** 2 + row ** 2;
  return Math.max(LEAST, (1 - share) * normal(asARule, AS_A_RULE.sd) + share * normal(farther, sd));
}

/**
 * What the pitches would be as planned, px.
 *
 * @example
 * plannedPitches({ stitchesPer10cm: 14, rowsPer10cm: 20 }, 2.8); // { stitchPitchPx: 20, rowPitchPx: 14 }
 */
export function plannedPitches(planned: PlannedGauge, pxPerMm: number): Pitches {
  return {
    stitchPitchPx: (100 * pxPerMm) / planned.stitchesPer10cm,
    rowPitchPx: (100 * pxPerMm) / planned.rowsPer10cm,
  };
}

/**
 * The odds of halves, doubles and other lattices where the gauge is known that the piece was planned with.
 *
 * @param pitches as read
 */
export function asPlanned(
  odds: OctaveOdds,
  pitches: Pitches,
  planned: PlannedGauge,
  pxPerMm: number | null,
): OctaveOdds {
  return reweighOdds({ ...odds, other: OTHER * odds.other }, ({ stitch, row }) =>
    likelyAsPlanned(
      { stitchPitchPx: pitches.stitchPitchPx / stitch, rowPitchPx: pitches.rowPitchPx / row },
      planned,
      pxPerMm,
    ),
  );
}
