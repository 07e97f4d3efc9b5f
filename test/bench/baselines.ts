/**
 * Two published ways to read a fabric's pitch, as they stand, to compare ours with on the same pictures.
 * Neither knows what a stitch looks like.
 */
import FFT from 'fft.js';
import type { GrayImage } from '../../vision/types.ts';

export interface BaselinePitch {
  horizontalPx: number | null;
  verticalPx: number | null;
}

const SIZE = 512;

/** The largest centred square, cut to at most SIZE px, mean removed, Hann-tapered, and its power spectrum. */
function powerSpectrum(gray: GrayImage): { power: Float64Array; pxPerSample: number } {
  const side = Math.min(gray.widthPx, gray.heightPx);
  const step = Math.max(1, side / SIZE);
  const n = Math.min(SIZE, side);
  const x0 = (gray.widthPx - side) / 2;
  const y0 = (gray.heightPx - side) / 2;
  const cells = new Float64Array(SIZE * SIZE);
  let mean = 0;
  for (let y = 0; y < n; y++) {
    for (let x = 0; x < n; x++) {
      // Box average, so that fine cloth does not alias.
      const w = Math.max(1, Math.round(step));
      let sum = 0;
      for (let dy = 0; dy < w; dy++) {
        for (let dx = 0; dx < w; dx++) {
          const px = Math.min(gray.widthPx - 1, Math.round(x0 + x * step) + dx);
          const py = Math.min(gray.heightPx - 1, Math.round(y0 + y * step) + dy);
          sum += gray.data[py * gray.widthPx + px];
        }
      }
      cells[y * SIZE + x] = sum / (w * w);
      mean += sum / (w * w) / (n * n);
    }
  }
  const fft = new FFT(SIZE);
  const line = new Array<number>(2 * SIZE).fill(0);
  const out = fft.createComplexArray();
  const work = new Float64Array(2 * SIZE * SIZE);
  for (let y = 0; y < n; y++) {
    line.fill(0);
    for (let x = 0; x < n; x++) {
      const hann = Math.sin((Math.PI * (x + 0.5)) / n) ** 2 * Math.sin((Math.PI * (y + 0.5)) / n) ** 2;
      line[2 * x] = (cells[y * SIZE + x] - mean) * hann;
    }
    fft.transform(out, line);
    work.set(out, 2 * SIZE * y);
  }
  const power = new Float64Array(SIZE * SIZE);
  for (let x = 0; x < SIZE; x++) {
    for (let y = 0; y < SIZE; y++) {
      line[2 * y] = work[2 * (SIZE * y + x)];
      line[2 * y + 1] = work[2 * (SIZE * y + x) + 1];
    }
    fft.transform(out, line);
    for (let y = 0; y < SIZE; y++) power[SIZE * y + x] = out[2 * y] ** 2 + out[2 * y + 1] ** 2;
  }
  return { power, pxPerSample: step };
}

/**
 * Strongest peak of the power spectrum near each axis (the plain Fourier method used for fabric density
 * since E. J. Wood, "Applying Fourier and associated transforms to pattern characterization in textiles",
 * Textile Research Journal 60, 1990).
 */
export function spectrumPeak(gray: GrayImage): BaselinePitch {
  const { power, pxPerSample } = powerSpectrum(gray);
  const best = (along: 'x' | 'y'): number | null => {
    let top = 0;
    let at = 0;
    for (let f = 5; f < SIZE / 3; f++) {
      for (let g = -Math.floor(f / 6); g <= Math.floor(f / 6); g++) {
        const fx = along === 'x' ? f : g;
        const fy = along === 'x' ? g : f;
        const p = power[((fy + SIZE) % SIZE) * SIZE + ((fx + SIZE) % SIZE)];
        if (p > top) {
          top = p;
          at = Math.hypot(fx, fy);
        }
      }
    }
    return at > 0 ? (SIZE / at) * pxPerSample : null;
  };
  return { horizontalPx: best('x'), verticalPx: best('y') };
}

/**
 * First peak of the autocorrelation along each axis (the second classical way to fabric density; the
 * autocorrelation is the inverse transform of the power spectrum, Wiener–Khinchin).
 */
export function autocorrelationPeak(gray: GrayImage): BaselinePitch {
  const { power, pxPerSample } = powerSpectrum(gray);
  const fft = new FFT(SIZE);
  const profile = (along: 'x' | 'y') => {
    // The autocorrelation on an axis is the transform of the spectrum summed over the other one.
    const data = new Array<number>(2 * SIZE).fill(0);
    for (let f = 0; f < SIZE; f++) {
      for (let g = 0; g < SIZE; g++) data[2 * f] += along === 'x' ? power[g * SIZE + f] : power[f * SIZE + g];
    }
    const out = fft.createComplexArray();
    fft.inverseTransform(out, data);
    return Float64Array.from({ length: SIZE / 2 }, (_, i) => out[2 * i]);
  };
  const firstPeak = (p: Float64Array): number | null => {
    let i = 1;
    while (i < p.length - 1 && p[i] < p[i - 1]) i++;
    for (; i < p.length - 1; i++) {
      if (p[i] > p[i - 1] && p[i] >= p[i + 1] && i >= 3 && p[i] > 0.02 * p[0]) {
        const curve = p[i - 1] - 2 * p[i] + p[i + 1];
        return (i + (curve < 0 ? (0.5 * (p[i - 1] - p[i + 1])) / curve : 0)) * pxPerSample;
      }
    }
    return null;
  };
  return { horizontalPx: firstPeak(profile('x')), verticalPx: firstPeak(profile('y')) };
}
