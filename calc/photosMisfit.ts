import jstat from 'jstat';
import type { TrendPoint } from './gaugeTrend.ts';

export interface PhotosMisfit {
  /** Probability of photos that lie so far off one straight line when all were read rightly. */
  pValue: number;
  /** The photo that does not fit: its middle row, and by how much it is off a line through the others there, per cent. */
  odd: { row: number; percent: number };
}

/**
 * Whether photos of one piece lie on one straight line, within the uncertainty of each: the test of a line's fit by
 * chi-squared (JCGM 100:2008, H.3.6; P. R. Bevington and D. K. Robinson, Data Reduction and Error Analysis, 11.1),
 * with the photos' means. A photo that was misread, or a tension that changed all at once, does not.
 *
 * @param points of all photos, `group` being the photo
 * @param photoRelativeU relative standard uncertainty of a photo's mean beside the scatter of its points, where it has none of its own
 * @param suspect the photo that is likeliest to be the one; the one that differs most from the middle one when left out
 * @returns null for fewer than three photos, or three at fewer than three places
 * @example
 * photosMisfit(
 *   [13, 13, 14].map((value, i) => ({ at: 40 * i, value, standardUncertainty: 0.05, group: `photo ${i}` })),
 *   0.006,
 * )!.odd.row; // 80
 */
export function photosMisfit(
  points: readonly TrendPoint[],
  photoRelativeU: number,
  suspect: string | null = null,
): PhotosMisfit | null {
  const groups = new Map<string, TrendPoint[]>();
  for (const point of points) groups.set(point.group, [...(groups.get(point.group) ?? []), point]);
  const means = [...groups].map(([photo, own]) => {
    const mean = (pick: (point: TrendPoint) => number): number =>
      own.reduce((sum, point) => sum + pick(point), 0) / own.length;
    const value = mean((point) => point.value);
    const variance = mean((point) => point.standardUncertainty ** 2) / own.length;
    const shared = own[0]!.sharedRelativeU ?? photoRelativeU;
    return { photo, at: mean((point) => point.at), value, weight: 1 / (variance + (shared * value) ** 2) };
  });
  if (new Set(means.map(({ at }) => at)).size < 3) return null;
  const line = lineThrough(means);
  const chiSquared = means.reduce((sum, { at, value, weight }) => sum + weight * (value - line(at)) ** 2, 0);
  const sorted = means.map(({ value }) => value).sort((a, b) => a - b);
  const middle = sorted[Math.floor((sorted.length - 1) / 2)]!;
  const odd =
    means.find(({ photo }) => photo === suspect) ??
    means.reduce((a, b) => (Math.abs(b.value - middle) > Math.abs(a.value - middle) ? b : a));
  const others = lineThrough(means.filter((one) => one !== odd));
  return {
    pValue: 1 - jstat.jStat.chisquare.cdf(chiSquared, means.length - 2),
    odd: { row: odd.at, percent: 100 * (odd.value / others(odd.at) - 1) },
  };
}

interface Mean {
  at: number;
  value: number;
  weight: number;
}

/** The weighted line of least squares; level where all are at one place. */
function lineThrough(means: readonly Mean[]): (at: number) => number {
  const total = means.reduce((sum, { weight }) => sum + weight, 0);
  const centre = (pick: 'at' | 'value'): number =>
    means.reduce((sum, one) => sum + one.weight * one[pick], 0) / total;
  const [at0, value0] = [centre('at'), centre('value')];
  const xx = means.reduce((sum, { at, weight }) => sum + weight * (at - at0) ** 2, 0);
  const xy = means.reduce((sum, { at, value, weight }) => sum + weight * (at - at0) * (value - value0), 0);
  return (at) => value0 + (xx > 0 ? xy / xx : 0) * (at - at0);
}
