import FFT from 'fft.js';

/** The spectrum of a row, laid out evenly and under a window. */
export interface EvenSpectrum {
  /** Power at a frequency, cycles in `size` samples. */
  powerAt(k: number): number;
  /** Sum of the squares of what was laid out. */
  squares: number;
}

/**
 * Spectra of rows along a straight scale before a camera: its marks lie at n = a s ÷ (1 + g s), which one number bends;
 * laid out so that they are even, they add up to one sharp line.
 *
 * @param columns samples of a row
 * @param size samples that are transformed, a power of two; what is beyond the row is 0
 * @returns for a bend (pitch at one end ÷ at the other, natural logarithm) the spectrum of a row, null where it is all 0;
 *   it holds until the next is asked for
 */
export function evenSpectra(
  columns: number,
  size: number,
): (bend: number) => (row: Float64Array) => EvenSpectrum | null {
  const fft = new FFT(size);
  const laid = new Float64Array(size);
  const spectrum = new Float64Array(2 * size);
  const window = Float64Array.from(
    { length: columns },
    (_, i) => Math.sin((Math.PI * (i + 0.5)) / columns) ** 2,
  );
  return (bend) => {
    const g = Math.exp(bend / 2) - 1;
    const from = Int32Array.from({ length: columns }, (_, i) => {
      const n = (i + 0.5) / columns;
      return Math.min(columns - 1, Math.floor((columns * n) / (1 + g - g * n)));
    });
    return (row) => {
      laid.fill(0);
      let squares = 0;
      for (let i = 0; i < columns; i++) {
        const v = row[from[i]!]! * window[i]!;
        laid[i] = v;
        squares += v * v;
      }
      if (!(squares > 0)) return null;
      fft.realTransform(spectrum as unknown as number[], laid as unknown as number[]);
      return { squares, powerAt: (k) => spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2 };
    };
  };
}
