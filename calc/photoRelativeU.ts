/**
 * By how much two photos of the same cloth differ in their stitches beside their scales: of 22 development photos of
 * eight pieces, each against the others of its piece.
 */
const READING_RELATIVE_U = 0.0045;

/**
 * Relative standard uncertainty that the bands of one photo share, and other photos do not: of its scale, and of the
 * reader's view of that light and distance.
 *
 * @param scaleRelativeU relative standard uncertainty of the photo's scale
 * @example
 * photoRelativeU(0.006).toFixed(4); // '0.0075'
 */
export function photoRelativeU(scaleRelativeU: number): number {
  return Math.hypot(scaleRelativeU, READING_RELATIVE_U);
}
