import type { DecodedPhoto } from '../types.ts';
import type { Belief } from './poseFit.ts';

/** Diagonal of a 36 × 24 mm frame, mm: 35 mm-equivalents compare pictures by their diagonals. */
const FRAME_DIAGONAL_MM = Math.hypot(36, 24);

export interface FocalHypothesis extends Belief {
  /** How likely this is before looking, as −2 ln(probability). */
  penalty: number;
}

const toLogPx = (photo: DecodedPhoto, focal35mm: number): number =>
  Math.log((focal35mm / FRAME_DIAGONAL_MM) * Math.hypot(photo.rgb.widthPx, photo.rgb.heightPx));

/**
 * What may be believed about the focal length, ln px, before looking at the reference.
 *
 * Phones' main cameras lie at 23–29 mm equivalent, their second ones at 45–80 (common practice). EXIF is
 * believed first but not blindly: a cropped or zoomed file keeps the old value.
 */
export function focalHypotheses(photo: DecodedPhoto): FocalHypothesis[] {
  const main = { mean: toLogPx(photo, 26.5), sd: 0.07, penalty: 0.4 };
  const tele = { mean: toLogPx(photo, 60), sd: 0.2, penalty: 3.8 };
  if (photo.focalLength35mm === null) return [main, tele];
  const stated = { mean: toLogPx(photo, photo.focalLength35mm), sd: 0.025, penalty: 0.1 };
  const wide = { mean: toLogPx(photo, photo.focalLength35mm), sd: 0.4, penalty: 7 };
  return [stated, wide];
}

/**
 * Phones straighten most of their lens's distortion themselves; what is left is small. Common practice, and
 * wide enough for cameras that do not.
 */
export const K1_BELIEF: Belief = { mean: -0.002, sd: 0.011 };
