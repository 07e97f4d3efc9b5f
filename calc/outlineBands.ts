import type { GaugeBand } from './gaugeBands.ts';
import type { Uncertain } from './uncertain.ts';

export interface OutlineBandsOptions {
  /** Widths of the piece at shares of its height, from the bottom (0) to the top (1). */
  widths: readonly { at: number; lengthMm: Uncertain }[];
  /** Stitches of every row. */
  stitches: number;
  rowsDone: number;
  /** Depth of the border that is worked already, mm. */
  borderDepthMm?: number;
  photo?: string;
}

/**
 * Stitches per 10 cm by row from a piece's outline: every row has the same stitches, so a wider row is a looser
 * one. The outermost rows are left out, because edges flare for reasons of their own.
 *
 * @example
 * outlineBands({
 *   widths: [{ at: 0.5, lengthMm: { value: 800, standardUncertainty: 4 } }],
 *   stitches: 112,
 *   rowsDone: 60,
 * }).map((band) => band.stitchesPer10cm.value); // [14]
 */
export function outlineBands(options: OutlineBandsOptions): GaugeBand[] {
  const { widths, stitches, rowsDone, photo } = options;
  const border = 2 * (options.borderDepthMm ?? 0);
  return widths
    .filter(({ at, lengthMm }) => at > 0.1 && at < 0.9 && lengthMm.value > border)
    .map(({ at, lengthMm }) => {
      const value = (100 * stitches) / (lengthMm.value - border);
      return {
        row: Math.max(1, Math.round(at * rowsDone)),
        stitchesPer10cm: {
          value,
          standardUncertainty: value * (lengthMm.standardUncertainty / (lengthMm.value - border)),
        },
        ...(photo === undefined ? {} : { photo }),
      };
    });
}
