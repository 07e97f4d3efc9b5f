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
  const work = new Float64Array(2 * n * n);
  const hann = Float64Array.from(
    { length: n },
    (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / n),
  );
  const starts = (length: number) => {
    if (length <= n) return [Math.round((length - n) / 2)];
    const count = Math.min(7, Math.ceil((length - n) / (n / 2)) + 1);
    return Array.from({ length: count }, (_, i) => Math.round((i * (length - n)) / (count - 1)));
  };
  let windowCount = 0;
  for (const y0 of starts(heightPx)) {
    for (const x0 of starts(widthPx)) {
      let sum = 0;
      let sumWeight = 0;
      let taper = 0;
      const inside = (x: number, y: number) => x >= 0 && y >= 0 && x < widthPx && y < heightPx;
      for (let y = 0; y < n; y++) {
        for (let x = 0; x < n; x++) {
          const t = hann[x] * hann[y];
          taper += t;
          if (!inside(x + x0, y + y0)) continue;
          const i = (y + y0) * widthPx + x + x0;
          sum += map[i] * weight[i] * t;
          sumWeight += weight[i] * t;
        }
      }
      if (sumWeight < 0.25 * taper) continue;
      const mean = sum / sumWeight;
      work.fill(0);
      for (let y = 0; y < n; y++) {
        line.fill(0);
        for (let x = 0; x < n; x++) {
          if (!inside(x + x0, y + y0)) continue;
          const i = (y + y0) * widthPx + x + x0;
          line[2 * x] = (map[i] - mean) * weight[i] * hann[x] * hann[y];
        }
        fft.transform(lineOut, line);
        work.set(lineOut, 2 * n * y);
      }
      for (let x = 0; x < n; x++) {
        for (let y = 0; y < n; y++) {
          line[2 * y] = work[2 * (n * y + x)];
          line[2 * y + 1] = work[2 * (n * y + x) + 1];
        }
        fft.transform(lineOut, line);
        for (let y = 0; y < n; y++) {
          power[n * y + x] += (lineOut[2 * y] ** 2 + lineOut[2 * y + 1] ** 2) / (sumWeight * sumWeight);
        }
      }
      windowCount++;
    }
  }
  if (windowCount > 0) for (let i = 0; i < power.length; i++) power[i] /= windowCount;
  return { size: n, power, windowCount };
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
