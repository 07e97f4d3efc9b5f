import type { GrayImage } from '../../types.ts';

/** Bilinear values along a straight line, written to `out` from `offset` on; NaN outside the picture. */
export function sampleLine(
  image: GrayImage,
  x0: number,
  y0: number,
  dx: number,
  dy: number,
  count: number,
  out: Float32Array | Float64Array,
  offset = 0,
): void {
  const d = image.data;
  const w = image.widthPx;
  const maxX = w - 1;
  const maxY = image.heightPx - 1;
  let x = x0;
  let y = y0;
  for (let i = 0; i < count; i++) {
    if (x < 0 || y < 0 || x >= maxX || y >= maxY) out[offset + i] = NaN;
    else {
      const ix = x | 0;
      const iy = y | 0;
      const fx = x - ix;
      const k = iy * w + ix;
      const top = d[k]! + (d[k + 1]! - d[k]!) * fx;
      const below = d[k + w]! + (d[k + w + 1]! - d[k + w]!) * fx;
      out[offset + i] = top + (below - top) * (y - iy);
    }
    x += dx;
    y += dy;
  }
}
