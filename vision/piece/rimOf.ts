import type { Point } from '../types.ts';

/** Pixels of a mask that lie beside others not of it, px; what the picture's own edge cuts off is no rim. */
export function rimOf(mask: Uint8Array, w: number, h: number): Point[] {
  const rim: Point[] = [];
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (mask[i] && !(mask[i - 1] && mask[i + 1] && mask[i - w] && mask[i + w])) rim.push({ x, y });
    }
  return rim;
}
