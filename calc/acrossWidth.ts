import type { PartReading } from './combineParts.ts';
import { gaugeTrend } from './gaugeTrend.ts';
import { englishSayer, say, type Said } from './said.ts';
import { estimate, type Estimate } from './uncertain.ts';

export interface AcrossWidth {
  /** 'unknown' where no photo shows three places side by side. */
  status: 'even' | 'tighter-right' | 'tighter-left' | 'unknown';
  pValue: number;
  /** Stitches per 10 cm at the right of what the photos show against the left, per cent. */
  changePercent: Estimate;
  message: string;
  said: Said;
}

export interface AcrossWidthOptions {
  /** Relative standard uncertainty of one photo's change from side to side. */
  gradientRelativeUncertainty?: number;
  /** Chance of a false alarm that is put up with. */
  significance?: number;
}

/** Places side by side in one photo. */
const COLUMNS = 5;
/** Photos are compared with themselves only: their rows may differ by any tension. */
const BETWEEN_PHOTOS_RELATIVE_U = 0.1;

/**
 * Of 42 development photos of cloth with an even tension, the change from side to side was off by 0.8 % (standard
 * deviation) for most stitches and by 3.5 % for those that read least plainly: what perspective leaves over, and what
 * a curve fitted through the stitches makes of it.
 */
const ONE_PHOTO_RELATIVE_U = 0.025;

/**
 * Whether the tension is the same from the left of the work to the right: the gauge of columns of stitches in each
 * photo, with a t test of their common slope. What perspective leaves over is not taken for tension.
 *
 * @example
 * acrossWidth([
 *   {
 *     name: 'close.jpg',
 *     localGauge: [0, 0.5, 1].flatMap((acrossStitches) =>
 *       [0, 1].map((alongRows) => ({ alongRows, acrossStitches, stitchesPer10cm: 14, trust: 1 })),
 *     ),
 *   },
 * ]).status; // 'even'
 */
export function acrossWidth(
  parts: readonly Pick<PartReading, 'name' | 'localGauge'>[],
  options: AcrossWidthOptions = {},
): AcrossWidth {
  const points = parts.flatMap(({ name, localGauge }) => columnsOf(localGauge, name));
  const trend = gaugeTrend(points, {
    scaleRelativeUncertainty: BETWEEN_PHOTOS_RELATIVE_U,
    gradientRelativeUncertainty: options.gradientRelativeUncertainty ?? ONE_PHOTO_RELATIVE_U,
  });
  if (!trend) return inWords('unknown', 1, estimate(0, 100));
  const percent = 100 / trend.valueAtPivot.value;
  const change = estimate(percent * trend.slope.value, percent * trend.slope.standardUncertainty);
  if (trend.pValue > (options.significance ?? 0.05)) return inWords('even', trend.pValue, change);
  return inWords(change.value > 0 ? 'tighter-right' : 'tighter-left', trend.pValue, change);
}

function columnsOf(readings: PartReading['localGauge'], group: string) {
  const usable = readings.flatMap(({ acrossStitches, stitchesPer10cm, trust }) =>
    acrossStitches === undefined || stitchesPer10cm === null || !(trust > 0)
      ? []
      : [{ at: acrossStitches, value: stitchesPer10cm, trust }],
  );
  const columns = Array.from({ length: COLUMNS }, (_, column) =>
    usable.filter(({ at }) => Math.min(COLUMNS - 1, Math.floor(at * COLUMNS)) === column),
  ).filter((column) => column.length > 0);
  const means = columns.map((column) => {
    const weight = column.reduce((sum, { trust }) => sum + trust, 0);
    const mean = (pick: 'at' | 'value') =>
      column.reduce((sum, one) => sum + one.trust * one[pick], 0) / weight;
    const value = mean('value');
    const squares = column.reduce((sum, one) => sum + (one.value - value) ** 2, 0);
    return { at: mean('at'), value, squares, count: column.length };
  });
  const freedom = means.reduce((sum, { count }) => sum + count - 1, 0);
  if (means.length < 3 || freedom < 1) return [];
  // Pooled over all columns (JCGM 100:2008, 4.2.4); readings one above the other overlap, so two count as one.
  const scatter = Math.sqrt(means.reduce((sum, { squares }) => sum + squares, 0) / freedom);
  return means.map(({ at, value, count }) => ({
    at,
    value,
    standardUncertainty: Math.max(scatter / Math.sqrt(Math.max(1, count / 2)), 0.001 * value),
    group,
  }));
}

function inWords(status: AcrossWidth['status'], pValue: number, changePercent: Estimate): AcrossWidth {
  const percent = Math.abs(Math.round(changePercent.value * 10) / 10);
  const said: Said =
    status === 'unknown' || status === 'even'
      ? { code: `across.${status}`, values: {} }
      : {
          code: status === 'tighter-right' ? 'across.tighterRight' : 'across.tighterLeft',
          values: { percent },
        };
  return { status, pValue, changePercent, said, message: say(said, englishSayer('cm')) };
}
