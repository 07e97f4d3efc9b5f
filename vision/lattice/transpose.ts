import type { GrayImage } from '../types.ts';

/** A picture with its axes exchanged: pixel (x, y) becomes (y, x). */
export function transpose({ widthPx, heightPx, data }: GrayImage): GrayImage {
  const out = new Float32Array(data.length);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) out[x * heightPx + y] = data[y * widthPx + x];
  return { widthPx: heightPx, heightPx: widthPx, data: out };
}
