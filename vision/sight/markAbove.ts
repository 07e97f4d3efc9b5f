/**
 * Makes a mask of what lies above a limit: 255 there, 0 elsewhere.
 *
 * A function of its own, for loops over pixels only: what stands at the top of a file stays compiled from photo to photo.
 *
 * @param mask as long as `values`
 * @example
 * markAbove(odds, 0.5, mask.data);
 */
export function markAbove(values: Float32Array, limit: number, mask: Uint8Array): void {
  for (let i = 0; i < values.length; i++) mask[i] = values[i]! > limit ? 255 : 0;
}
