import type { Uncertain } from './uncertain.ts';

/** One place where the gauge was read: where it lies, and what it is. */
export interface LocalReading {
  /** Share of the way from the lowest row in view (0) to the topmost (1). */
  alongRows: number;
  /** Share of the way from the leftmost stitch in view (0) to the rightmost (1). */
  acrossStitches?: number;
  stitchesPer10cm: number | null;
  /** 0…1; readings of no trust are left out. */
  trust: number;
}

export interface GaugeBand {
  /** Middle row of the band, from 1. */
  row: number;
  stitchesPer10cm: Uncertain;
  /** Bands of one photo share its scale; give each photo its own name. */
  photo?: string;
  /** Relative standard uncertainty that all bands of its photo share, and other photos do not. */
  sharedRelativeU?: number | undefined;
}

export interface GaugeBandsOptions {
  /** Rows in view, the lowest and the topmost. */
  fromRow: number;
  toRow: number;
  /** At most so many bands; 8 when left out. */
  bands?: number;
  photo?: string;
  /** Relative standard uncertainty that all of this photo shares, and other photos do not. */
  sharedRelativeU?: number | undefined;
}

/**
 * Local readings of the gauge, gathered into bands of rows: the trust-weighted mean of each band, its
 * standard uncertainty from the scatter pooled over all bands (JCGM 100:2008, 4.2.4). Readings of one
 * band stand side by side in the same rows and overlap, so each counts for half a reading.
 *
 * @example
 * gaugeBands(
 *   [0.1, 0.1, 0.9, 0.9].map((alongRows, n) => ({ alongRows, stitchesPer10cm: 13 + (n % 2) / 10, trust: 1 })),
 *   { fromRow: 1, toRow: 40, bands: 2 },
 * ).map((band) => band.row); // [5, 36]
 */
export function gaugeBands(readings: readonly LocalReading[], options: GaugeBandsOptions): GaugeBand[] {
  const { fromRow, toRow, photo, sharedRelativeU } = options;
  const usable = readings.filter((each) => each.stitchesPer10cm !== null && each.trust > 0);
  const wanted = Math.max(1, Math.min(options.bands ?? 8, Math.floor(usable.length / 2)));
  const groups = Array.from({ length: wanted }, (_, band) =>
    usable.filter((each) => Math.min(wanted - 1, Math.floor(each.alongRows * wanted)) === band),
  ).filter((group) => group.length > 0);

  const described = groups.map((group) => {
    const weight = group.reduce((sum, each) => sum + each.trust, 0);
    const value = group.reduce((sum, each) => sum + each.trust * each.stitchesPer10cm!, 0) / weight;
    const along = group.reduce((sum, each) => sum + each.trust * each.alongRows, 0) / weight;
    const squares = group.reduce((sum, each) => sum + (each.stitchesPer10cm! - value) ** 2, 0);
    return { value, along, squares, count: group.length };
  });
  const freedom = described.reduce((sum, each) => sum + each.count - 1, 0);
  const scatter =
    freedom > 0 ? Math.sqrt(described.reduce((sum, each) => sum + each.squares, 0) / freedom) : null;
  return described.map(({ value, along, count }) => ({
    row: Math.round(fromRow + along * (toRow - fromRow)),
    stitchesPer10cm: {
      value,
      // one reading alone says nothing of its scatter: 2 %, as for a count by hand
      standardUncertainty:
        scatter === null
          ? 0.02 * value
          : Math.max(scatter / Math.sqrt(Math.max(1, count / 2)), 0.001 * value),
    },
    ...(photo === undefined ? {} : { photo }),
    ...(sharedRelativeU === undefined ? {} : { sharedRelativeU }),
  }));
}
