import { per4inToPer10cm } from './gaugeUnits.ts';
import { STITCHES, type StitchKey } from './stitches.ts';
import type { YarnCategory } from './yarnCategories.ts';

/**
 * How many stitches per 10 cm are usual in yarn of a category: for the craft of a stitch, or for either where it is not known.
 * Guidelines, as their source says: hands, hooks and yarns differ.
 *
 * @example expectedStitches(YARN_CATEGORIES[4], 'sc'); // { low: 10.8, high: 13.8 }, from 11 to 14 in 4 in
 */
export function expectedStitches(
  { knitStitchesPer4in, crochetStitchesPer4in }: YarnCategory,
  stitch: StitchKey | null,
): { low: number; high: number } {
  const ranges = {
    knit: [knitStitchesPer4in],
    crochet: [crochetStitchesPer4in],
    either: [knitStitchesPer4in, crochetStitchesPer4in],
  }[stitch ? STITCHES[stitch].craft : 'either'];
  return {
    low: per4inToPer10cm(Math.min(...ranges.map(({ low }) => low))),
    high: per4inToPer10cm(Math.max(...ranges.map(({ high }) => high))),
  };
}
