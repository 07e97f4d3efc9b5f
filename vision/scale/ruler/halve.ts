import type { GrayImage } from '../../types.ts';

/** A gray image at a coarser step; `factor` decoded pixels lie on one pixel of this level. */
export interface Level {
  image: GrayImage;
  factor: number;
}

/**
 * Halves a gray image by averaging 2 × 2 pixels.
 *
 * Pixel (x, y) of the result is centred on (2x + 0.5, 2y + 0.5) of the source.
 * @example halve({ widthPx: 2, heightPx: 2, data: Float32Array.of(0, 0, 1, 1) }).data[0] // 0.5
 */
export function halve(source: GrayImage): GrayImage {
  const widthPx = source.widthPx >> 1;
  const heightPx = source.heightPx >> 1;
  const data = new Float32Array(widthPx * heightPx);
  const from = source.data;
  for (let y = 0; y < heightPx; y++) {
    let a = 2 * y * source.widthPx;
    let b = a + source.widthPx;
    const row = y * widthPx;
    for (let x = 0; x < widthPx; x++) {
      data[row + x] = 0.25 * (from[a]! + from[a + 1]! + from[b]! + from[b + 1]!);
      a += 2;
      b += 2;
    }
  }
  return { widthPx, heightPx, data };
}

/** Coordinate on a level → coordinate in the decoded photo, px. */
export const toDecodedPx = (level: Level, coordinate: number): number =>
  coordinate * level.factor + (level.factor - 1) / 2;
