import type { GrayImage } from '../../types.ts';

/** Catmull & Rom's cubic (1974) a quarter of a pixel before and after a sample. */
const BEFORE = [-0.0703125, 0.8671875, 0.2265625, -0.0234375] as const;

/**
 * Doubles a gray image by cubic interpolation, so that lines hardly two pixels apart can be sampled along any
 * direction without losing their contrast to it.
 *
 * Pixel (x, y) of the result is centred on (x / 2 − 0.25, y / 2 − 0.25) of the source.
 * @example double({ widthPx: 1, heightPx: 1, data: Float32Array.of(1) }).data // 1, 1, 1, 1
 */
export function double(source: GrayImage): GrayImage {
  const { widthPx, heightPx, data } = source;
  const wide = new Float32Array(2 * widthPx * heightPx);
  spread(data, wide, { lines: heightPx, lineStep: widthPx, length: widthPx, step: 1 }, 2 * widthPx, 1);
  const out = new Float32Array(4 * widthPx * heightPx);
  const columns = 2 * widthPx;
  spread(wide, out, { lines: columns, lineStep: 1, length: heightPx, step: columns }, 1, columns);
  return { widthPx: columns, heightPx: 2 * heightPx, data: out };
}

/** Every line of `from`, twice as long, into `to`. */
function spread(
  from: Float32Array,
  to: Float32Array,
  source: { lines: number; lineStep: number; length: number; step: number },
  toLineStep: number,
  toStep: number,
): void {
  const { lines, lineStep, length, step } = source;
  const [far, own, near, farNear] = [BEFORE[3], BEFORE[1], BEFORE[2], BEFORE[0]];
  for (let i = 0; i < length; i++) {
    const before2 = Math.max(0, i - 2) * step;
    const before = Math.max(0, i - 1) * step;
    const here = i * step;
    const after = Math.min(length - 1, i + 1) * step;
    const after2 = Math.min(length - 1, i + 2) * step;
    for (let l = 0; l < lines; l++) {
      const o = l * lineStep;
      const t = l * toLineStep + 2 * i * toStep;
      const v = own * from[o + here]!;
      const a = from[o + before]!;
      const b = from[o + after]!;
      to[t] = v + near * a + farNear * b + far * from[o + before2]!;
      to[t + toStep] = v + near * b + farNear * a + far * from[o + after2]!;
    }
  }
}
