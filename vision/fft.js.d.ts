declare module 'fft.js' {
  /** Radix-4 transform of a power-of-two size; complex arrays are interleaved (re, im). */
  export default class FFT {
    constructor(size: number);
    readonly size: number;
    createComplexArray(): number[];
    /** Only the first half of `out` is filled (bins 0 … size/2). */
    realTransform(out: number[], data: ArrayLike<number>): void;
    transform(out: number[], data: ArrayLike<number>): void;
    inverseTransform(out: number[], data: ArrayLike<number>): void;
    completeSpectrum(spectrum: number[]): void;
    toComplexArray(input: ArrayLike<number>, storage?: number[]): number[];
    fromComplexArray(complex: ArrayLike<number>, storage?: number[]): number[];
  }
}
