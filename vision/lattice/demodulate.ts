import { cv, type Mat, withMats } from '../cv.ts';

/** One place where the phase of a wave was read. Positions in map pixels, phase in turns. */
export interface PhaseNode {
  column: number;
  row: number;
  x: number;
  y: number;
  /** Phase relative to the carrier k·x, turns, in (−½, ½]. */
  phase: number;
  /** Amplitude of the wave here, in the map's own units. */
  amplitude: number;
  /** Share of the filter's support that is cloth, 0…1. */
  support: number;
}

export interface Demodulated {
  nodes: PhaseNode[];
  columns: number;
  rows: number;
  spacingPx: number;
}

/**
 * Reads the local phase of the wave exp(2πi k·x) in a weighted map: multiply by the conjugate carrier,
 * low-pass, sample on a grid. Fringe analysis after M. Takeda, H. Ina and S. Kobayashi, J. Opt. Soc. Am.
 * 72, 156 (1982).
 *
 * @param kx,ky carrier, cycles per map pixel
 * @param sigmaPx standard deviation of the Gaussian low-pass
 * @param spacingPx distance between nodes
 */
export function demodulate(
  map: Float32Array,
  weight: Float32Array,
  widthPx: number,
  heightPx: number,
  carrier: { kx: number; ky: number },
  sigmaPx: number,
  spacingPx: number,
): Demodulated {
  const n = widthPx * heightPx;
  const re = new Float32Array(n);
  const im = new Float32Array(n);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      const a = 2 * Math.PI * (carrier.kx * x + carrier.ky * y);
      const v = map[i] * weight[i];
      re[i] = v * Math.cos(a);
      im[i] = -v * Math.sin(a);
    }
  }
  return withMats((keep) => {
    const blur = (values: Float32Array) => {
      const source = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_32FC1));
      source.data32F.set(values);
      const out = keep<Mat>(new cv.Mat());
      cv.GaussianBlur(source, out, new cv.Size(0, 0), sigmaPx, sigmaPx, cv.BORDER_CONSTANT);
      return out.data32F.slice();
    };
    const smoothRe = blur(re);
    const smoothIm = blur(im);
    const smoothWeight = blur(weight);
    return sampled({ re: smoothRe, im: smoothIm, weight: smoothWeight }, widthPx, heightPx, spacingPx);
  });
}

function sampled(
  smooth: { re: Float32Array; im: Float32Array; weight: Float32Array },
  widthPx: number,
  heightPx: number,
  spacingPx: number,
): Demodulated {
  const columns = Math.max(1, Math.floor(widthPx / spacingPx));
  const rows = Math.max(1, Math.floor(heightPx / spacingPx));
  const nodes: PhaseNode[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const x = Math.min(widthPx - 1, Math.round((column + 0.5) * spacingPx));
      const y = Math.min(heightPx - 1, Math.round((row + 0.5) * spacingPx));
      const i = y * widthPx + x;
      const support = smooth.weight[i];
      const amplitude = support > 1e-6 ? (2 * Math.hypot(smooth.re[i], smooth.im[i])) / support : 0;
      const phase = Math.atan2(smooth.im[i], smooth.re[i]) / (2 * Math.PI);
      nodes.push({ column, row, x, y, phase, amplitude, support });
    }
  }
  return { nodes, columns, rows, spacingPx };
}
