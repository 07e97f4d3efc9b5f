import FFT from 'fft.js';

/** Power over wave vectors; index (fy, fx) with fx, fy in FFT order, cycles per pixel = f / size. */
export interface Spectrum {
  size: number;
  power: Float64Array;
  windowCount: number;
}

/** A plane wave: cycles per map pixel along x and y, and its power. */
export interface Wave {
  kx: number;
  ky: number;
  power: number;
}

/**
 * Power spectrum of a weighted map, averaged over half-overlapping Hann windows (P. D. Welch, IEEE Trans.
 * Audio Electroacoust. 15, 1967), so that rows that bend do not cancel each other out.
 *
 * @param map width × height values
 * @param weight same shape, 0…1; windows with little weight are left out
 * @param windowSize power of two; three periods must fit
 */
export function meanSpectrum(
  map: Float32Array,
  weight: Float32Array,
  widthPx: number,
  heightPx: number,
  windowSize: number,
): Spectrum {
  const n = windowSize;
  const power = new Float64Array(n * n);
  const fft = new FFT(n);
  const line = new Array<number>(2 * n).fill(0);
  const lineOut = fft.createComplexArray();
  const windowed = new Float64Array(n * n);
  const columns = new Float64Array(2 * n * (n / 2 + 1));
  const hann = Float64Array.from(
    { length: n },
    (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / n),
  );
  const starts = (length: number) => {
    if (length <= n) return [Math.round((length - n) / 2)];
    const count = Math.min(7, Math.ceil((length - n) / (n / 2)) + 1);
    return Array.from({ length: count }, (_, i) => Math.round((i * (length - n)) / (count - 1)));
  };
  const taper = hann.reduce((sum, v) => sum + v, 0) ** 2;
  let windowCount = 0;
  for (const y0 of starts(heightPx)) {
    for (const x0 of starts(widthPx)) {
      const sumWeight = cutWindow({ map, weight, widthPx, heightPx }, x0, y0, hann, windowed);
      if (sumWeight < 0.25 * taper) continue;
      // The map is real: frequencies from ½ on mirror the others.
      for (let y = 0; y < n; y++) {
        fft.realTransform(lineOut, windowed.subarray(n * y, n * (y + 1)));
        for (let x = 0, i = 2 * y; x <= n / 2; x++, i += 2 * n) {
          columns[i] = lineOut[2 * x];
          columns[i + 1] = lineOut[2 * x + 1];
        }
      }
      for (let x = 0; x <= n / 2; x++) {
        for (let y = 0, i = 2 * n * x; y < 2 * n; y++, i++) line[y] = columns[i];
        fft.transform(lineOut, line);
        for (let y = 0; y < n; y++) {
          power[n * y + x] += (lineOut[2 * y] ** 2 + lineOut[2 * y + 1] ** 2) / (sumWeight * sumWeight);
        }
      }
      windowCount++;
    }
  }
  if (windowCount > 0) for (let i = 0; i < power.length; i++) power[i] /= windowCount;
  mirror(power, n);
  return { size: n, power, windowCount };
}

interface WeightedMap {
  map: Float32Array;
  weight: Float32Array;
  widthPx: number;
  heightPx: number;
}

/**
 * Cuts a window out of a map, its mean taken off, tapered; zero outside the map.
 *
 * @returns the weight in it
 */
function cutWindow(
  { map, weight, widthPx, heightPx }: WeightedMap,
  x0: number,
  y0: number,
  hann: Float64Array,
  to: Float64Array,
): number {
  const n = hann.length;
  const [left, right] = [Math.max(0, -x0), Math.min(n, widthPx - x0)];
  const [top, bottom] = [Math.max(0, -y0), Math.min(n, heightPx - y0)];
  let sum = 0;
  let sumWeight = 0;
  for (let y = top; y < bottom; y++) {
    for (let x = left, i = (y + y0) * widthPx + left + x0; x < right; x++, i++) {
      const w = weight[i] * hann[x] * hann[y];
      sum += map[i] * w;
      sumWeight += w;
    }
  }
  const mean = sum / sumWeight;
  to.fill(0);
  for (let y = top; y < bottom; y++) {
    for (let x = left, i = (y + y0) * widthPx + left + x0; x < right; x++, i++) {
      to[n * y + x] = (map[i] - mean) * weight[i] * hann[x] * hann[y];
    }
  }
  return sumWeight;
}

/** Fills in the half of a real map's power that mirrors the other. */
function mirror(power: Float64Array, n: number): void {
  for (let y = 0; y < n; y++) {
    for (let x = n / 2 + 1; x < n; x++) power[n * y + x] = power[n * ((n - y) % n) + n - x];
  }
}

/** Local maxima of a spectrum in the half plane kx ≥ 0, refined by a parabola, strongest first. */
export function strongestWaves(spectrum: Spectrum, most: number): Wave[] {
  const { size: n, power } = spectrum;
  const at = (fx: number, fy: number) => power[((fy + n) % n) * n + ((fx + n) % n)];
  const waves: Wave[] = [];
  for (let fy = -n / 2 + 1; fy < n / 2; fy++) {
    for (let fx = 0; fx < n / 2; fx++) {
      if (fx === 0 && fy < 0) continue;
      if (fx * fx + fy * fy < 4) continue; // slow light, not texture
      const p = at(fx, fy);
      let peak = p > 0;
      for (let dy = -1; dy <= 1 && peak; dy++) {
        for (let dx = -1; dx <= 1; dx++) if ((dx || dy) && at(fx + dx, fy + dy) > p) peak = false;
      }
      if (!peak) continue;
      const offset = (a: number, b: number, c: number) => {
        const [la, lb, lc] = [Math.log(a + 1e-30), Math.log(b + 1e-30), Math.log(c + 1e-30)];
        const curve = la - 2 * lb + lc;
        return curve < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (la - lc)) / curve)) : 0;
      };
      waves.push({
        kx: (fx + offset(at(fx - 1, fy), p, at(fx + 1, fy))) / n,
        ky: (fy + offset(at(fx, fy - 1), p, at(fx, fy + 1))) / n,
        power: p,
      });
    }
  }
  return waves.sort((a, b) => b.power - a.power).slice(0, most);
}

/** Power at the spectrum's cell nearest to a wave vector (cycles per pixel). */
export function powerAt({ size: n, power }: Spectrum, wave: { kx: number; ky: number }): number {
  const fx = ((Math.round(wave.kx * n) % n) + n) % n;
  const fy = ((Math.round(wave.ky * n) % n) + n) % n;
  return power[fy * n + fx];
}
