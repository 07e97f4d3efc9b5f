/** Synthetic evidence maps with known answers, for the tests of the wave stages. */

/** width × height values of `value(x, y)`. */
export function mapOf(width: number, height: number, value: (x: number, y: number) => number): Float32Array {
  const map = new Float32Array(width * height);
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) map[y * width + x] = value(x, y);
  return map;
}

export const everywhere = (width: number, height: number): Float32Array => mapOf(width, height, () => 1);

/** A cosine whose phase, in turns, is `turns(x, y)`: +1 where the phase is a whole number. */
export function waveOf(width: number, height: number, turns: (x: number, y: number) => number): Float32Array {
  return mapOf(width, height, (x, y) => Math.cos(2 * Math.PI * turns(x, y)));
}

/** Repeatable uniform numbers in [0, 1): D. H. Lehmer's generator with the multiplier of Park and Miller (1988). */
export function uniform(seed: number): () => number {
  let state = (seed % 2147483646) + 1;
  return () => (state = (state * 48271) % 2147483647) / 2147483647;
}

/** Repeatable standard normal numbers (Box and Muller, 1958). */
export function normal(seed: number): () => number {
  const next = uniform(seed);
  return () => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
}

/** Distance between two phases, turns, whole turns not counted. */
export function turnsApart(a: number, b: number): number {
  return Math.abs(a - b - Math.round(a - b));
}
