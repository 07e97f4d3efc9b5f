import type { Belief } from './poseFit.ts';

/**
 * Height of the cloth's mean surface above the table, mm, before anything is known of the yarn: from fine
 * cotton (about 1.5) to bulky post stitches (about 8). Common practice; wide on purpose.
 */
export const CLOTH_HEIGHT_MM: Belief = { mean: 3.5, sd: 1.7 };

/** What lies on the cloth rests on its highest strands, so far above its mean surface, mm. Common practice. */
const TOPS_MM = 1.2;

/** The cloth's mean surface, seen from what lies on the tops of its strands, where nothing is known of them, mm. */
export const BELOW_TOPS_MM: Belief = { mean: -1.5, sd: 0.8 };

/**
 * Height of the plane of the work above a reference's face. The reference mostly lies on the table beside the
 * work, sometimes on it; which of the two cannot be told from its outline, so both are in the spread.
 */
export function workAbove(faceHeightMm: number): Belief {
  const onTable = CLOTH_HEIGHT_MM.mean - faceHeightMm;
  const onCloth = -faceHeightMm - TOPS_MM;
  const share = 0.15;
  const mean = (1 - share) * onTable + share * onCloth;
  const between = share * (1 - share) * (onTable - onCloth) ** 2;
  return { mean, sd: Math.sqrt(CLOTH_HEIGHT_MM.sd ** 2 + between) };
}

/** What `workAbove` assumes, as a scale carries it along for `knowWorkHeight`. */
export function assumedHeight(faceHeightMm: number): { meanMm: number; sdMm: number; faceHeightMm: number } {
  const { mean, sd } = workAbove(faceHeightMm);
  return { meanMm: mean, sdMm: sd, faceHeightMm };
}
