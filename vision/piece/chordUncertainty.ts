import { linearRegression } from 'simple-statistics';
import { centroid, distance } from '../scale/geometry.ts';
import { mmPerPxAt, pictureCentre, pxToMm, type PictureSize } from '../scale/lens.ts';
import { referenceSizePx } from '../scale/referenceSizePx.ts';
import type { Point, Scale } from '../types.ts';

/** A length between two decoded pixels; `at` says where along the other direction it was taken, 0…1. */
export interface ChordPx {
  at: number;
  from: Point;
  to: Point;
}

export interface ChordUncertainty {
  /** Relative standard uncertainty of the mean of lengths. */
  ofMean(chords: readonly ChordPx[]): number;
  /** Standard uncertainty of how much longer the chord at 1 is than that at 0, as a share of their mean. */
  ofTaper(chords: readonly ChordPx[]): number;
}

/** A lens of which nothing is known, where the scale does not say: standard deviation of k1. */
const K1_SD = 0.006;

/**
 * How uncertain lengths across the whole picture are by its scale: known well beside the reference, and less well far from
 * it, where plane and lens are carried on. Lengths on both sides of the reference may err in opposite ways, so that
 * their mean is surer than each; the scale's variations say how they go together (JCGM 100:2008, 5.2).
 *
 * @param near relative standard uncertainty of lengths at the reference, the height of the work included
 */
export function chordUncertainty(size: PictureSize, scale: Scale, near: number): ChordUncertainty {
  const variations = scale.variations ?? [];
  if (variations.length === 0) return roughly(size, scale, near);
  const middle = centroid(scale.outlinePx);
  const lengths = (by: Pick<Scale, 'homographyPxToMm' | 'radialDistortion'>, chords: readonly ChordPx[]) =>
    chords.map(({ from, to }) => distance(pxToMm(by, from, size), pxToMm(by, to, size)));
  const rootSum = (change: (by: (typeof variations)[number]) => number) =>
    variations.reduce((sum, by) => sum + by.weight * change(by) ** 2, 0);
  const beside = mmPerPxAt(scale.homographyPxToMm, scale.radialDistortion, middle, size);
  // What they say beside the reference is in `near` already.
  const there = rootSum((by) =>
    Math.log(mmPerPxAt(by.homographyPxToMm, by.radialDistortion, middle, size) / beside),
  );
  const rest = Math.max(0, near ** 2 - there);
  return {
    ofMean: (chords) => {
      const mean = sum(lengths(scale, chords));
      return Math.sqrt(rest + rootSum((by) => Math.log(sum(lengths(by, chords)) / mean)));
    },
    ofTaper: (chords) => {
      const taper = (by: Parameters<typeof lengths>[0]) => {
        const found = lengths(by, chords);
        return (linearRegression(chords.map(({ at }, i) => [at, found[i]!])).m * found.length) / sum(found);
      };
      const own = taper(scale);
      return Math.sqrt(rootSum((by) => taper(by) - own));
    },
  };
}

/** Without variations: perspective left over lengthens one side of the reference and shortens the other. */
function roughly(size: PictureSize, scale: Scale, near: number): ChordUncertainty {
  const middle = centroid(scale.outlinePx);
  const referencePx = referenceSizePx(scale);
  const c = pictureCentre(size);
  const half = Math.hypot(size.widthPx, size.heightPx) / 2;
  const radius = (p: Point) => (distance(p, c) / half) ** 2;
  const along = ({ from, to }: ChordPx): number => {
    const places = [0, 0.25, 0.5, 0.75, 1].map((t) => ({
      x: from.x + t * (to.x - from.x),
      y: from.y + t * (to.y - from.y),
    }));
    const perspective =
      (scale.relativeUncertaintyPerReferenceLength * distance(centroid(places), middle)) / referencePx;
    const outer = sum(places.map(radius)) / places.length;
    const lens = K1_SD * 3 * Math.abs(outer - radius(middle)) + 0.5 * K1_SD * outer;
    return Math.hypot(near, perspective, lens);
  };
  return {
    ofMean: (chords) => sum(chords.map(along)) / chords.length,
    ofTaper: (chords) => {
      const ends = [chords[0]!, chords[chords.length - 1]!].map(({ from, to }) => centroid([from, to]));
      return (scale.relativeUncertaintyPerReferenceLength * distance(ends[0]!, ends[1]!)) / referencePx;
    },
  };
}

const sum = (values: readonly number[]): number => values.reduce((s, v) => s + v, 0);
