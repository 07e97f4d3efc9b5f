import { Matrix, inverse } from 'ml-matrix';
import jstat from 'jstat';

export interface TrendPoint {
  at: number;
  value: number;
  standardUncertainty: number;
  /** Points of one group share a scale error and a gradient error. */
  group: string;
}

export interface TrendOptions {
  /** Relative standard uncertainty of the scale shared by the points of a group. */
  scaleRelativeUncertainty: number;
  /** Relative change across a group that an imperfect rectification brings in, standard uncertainty. */
  gradientRelativeUncertainty: number;
}

export interface Trend {
  /** Where value and slope are uncorrelated. */
  pivot: number;
  valueAtPivot: { value: number; standardUncertainty: number };
  slope: { value: number; standardUncertainty: number };
  degreesOfFreedom: number;
  /** Two-sided probability of a slope this steep when there is none. */
  pValue: number;
}

/**
 * Degrees of freedom that the stated uncertainties are worth beside the scatter of a handful of points:
 * a relative uncertainty of about 25 % on them (JCGM 100:2008, G.4.2, formula G.3).
 */
const STATED_FREEDOM = 8;

/**
 * Straight line through uncertain points by generalised least squares (A. C. Aitken, Proc. R. Soc. Edinb.
 * 55, 1935): scale and gradient errors are common to the points of a group. When the points scatter more
 * than stated, the uncertainties are widened to fit, never narrowed.
 *
 * @returns null with fewer than three points, or all at one place.
 * @example
 * gaugeTrend(
 *   [10, 20, 30, 40].map((at) => ({ at, value: 13 + at / 100, standardUncertainty: 0.05, group: 'a' })),
 *   { scaleRelativeUncertainty: 0.005, gradientRelativeUncertainty: 0.003 },
 * )!.slope.value; // 0.01
 */
export function gaugeTrend(points: readonly TrendPoint[], options: TrendOptions): Trend | null {
  const n = points.length;
  const places = points.map((point) => point.at);
  if (n < 3 || Math.max(...places) === Math.min(...places)) return null;

  const centres = groupCentres(points);
  const covariance = new Matrix(n, n);
  // Of the points' mean: taken from each point, a shared relative error would bend the line (R. W. Peelle's puzzle).
  const level = points.reduce((sum, point) => sum + point.value, 0) / n;
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const [a, b] = [points[i]!, points[j]!];
      let shared = 0;
      if (a.group === b.group) {
        const { centre, span } = centres.get(a.group)!;
        const lever = span > 0 ? ((a.at - centre) * (b.at - centre)) / span ** 2 : 0;
        shared =
          level ** 2 *
          (options.scaleRelativeUncertainty ** 2 + options.gradientRelativeUncertainty ** 2 * lever);
      }
      covariance.set(i, j, shared + (i === j ? a.standardUncertainty ** 2 : 0));
    }
  }
  const weight = inverse(covariance);
  const design = new Matrix(points.map((point) => [1, point.at]));
  const values = Matrix.columnVector(points.map((point) => point.value));
  const normal = inverse(design.transpose().mmul(weight).mmul(design));
  const fitted = normal.mmul(design.transpose()).mmul(weight).mmul(values);
  const residual = values.clone().sub(design.mmul(fitted));
  const chiSquared = residual.transpose().mmul(weight).mmul(residual).get(0, 0);
  const widen = Math.sqrt(Math.max(1, chiSquared / (n - 2)));

  const [intercept, slope] = [fitted.get(0, 0), fitted.get(1, 0)];
  const varianceOfSlope = normal.get(1, 1);
  const pivot = -normal.get(0, 1) / varianceOfSlope;
  const varianceAtPivot = normal.get(0, 0) - normal.get(0, 1) ** 2 / varianceOfSlope;
  const slopeU = widen * Math.sqrt(varianceOfSlope);
  const degreesOfFreedom = n - 2 + STATED_FREEDOM;
  return {
    pivot,
    valueAtPivot: {
      value: intercept + slope * pivot,
      standardUncertainty: widen * Math.sqrt(Math.max(0, varianceAtPivot)),
    },
    slope: { value: slope, standardUncertainty: slopeU },
    degreesOfFreedom,
    pValue: 2 * (1 - jstat.jStat.studentt.cdf(Math.abs(slope) / slopeU, degreesOfFreedom)),
  };
}

function groupCentres(points: readonly TrendPoint[]): Map<string, { centre: number; span: number }> {
  const groups = new Map<string, number[]>();
  for (const { group, at } of points) groups.set(group, [...(groups.get(group) ?? []), at]);
  return new Map(
    [...groups].map(([group, places]) => [
      group,
      {
        centre: places.reduce((sum, at) => sum + at, 0) / places.length,
        span: Math.max(...places) - Math.min(...places),
      },
    ]),
  );
}
