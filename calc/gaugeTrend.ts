import { determinant, inverse, Matrix } from 'ml-matrix';
import jstat from 'jstat';
import { mean } from 'simple-statistics';

export interface TrendPoint {
  at: number;
  value: number;
  standardUncertainty: number;
  /** Points of one group share a scale error and a gradient error. */
  group: string;
  /** Relative standard uncertainty that the points of its group share, where it is known of this group. */
  sharedRelativeU?: number | undefined;
}

export interface TrendOptions {
  /** Relative standard uncertainty of the scale shared by the points of a group, where a group has none of its own. */
  scaleRelativeUncertainty: number;
  /** Relative change across a group that an imperfect rectification brings in, standard uncertainty. */
  gradientRelativeUncertainty: number;
  /** Whether each group may lie the other way round: which of its ends comes first is not known then. */
  eitherWay?: boolean;
  /** Whether one group of three or more may have been misread. */
  oneMayBeMisread?: boolean;
}

export interface Trend {
  /** Where value and slope are uncorrelated. */
  pivot: number;
  valueAtPivot: { value: number; standardUncertainty: number };
  slope: { value: number; standardUncertainty: number };
  degreesOfFreedom: number;
  /** Two-sided probability of a slope this steep when there is none. */
  pValue: number;
  /** The group that is likeliest to have been misread; null where none was doubted. */
  likeliestMisread: string | null;
}

/**
 * Degrees of freedom that the stated uncertainties are worth beside the scatter of a handful of points:
 * a relative uncertainty of about 25 % on them (JCGM 100:2008, G.4.2, formula G.3).
 */
const STATED_FREEDOM = 8;
/** Photos of one piece are mostly taken from the same side; whether from this one or the other is as likely. */
const LIES_UNLIKE_THE_OTHERS = 0.2;
/** So many groups are tried both ways round; of more, the others count by their means alone. */
const MOST_TURNED = 10;
/** A gradient of which nothing is known, relative: of a group that counts by its mean alone. */
const UNKNOWN_GRADIENT = 10;
/** Chance of a group that was misread, and by how much such a one is off, relative standard deviations. */
const MISREAD_CHANCE = 0.02;
const MISREAD_RELATIVE_U = 0.05;
const MISREAD_GRADIENT = 0.02;
/** One of so many groups may be misread; of two, nothing tells which. */
const LEAST_TO_DOUBT = 3;

/**
 * Straight line through uncertain points by generalised least squares (A. C. Aitken, Proc. R. Soc. Edinb.
 * 55, 1935): scale and gradient errors are common to the points of a group. When the points scatter more
 * than stated, the uncertainties are widened to fit, never narrowed.
 *
 * Where groups may lie either way round, the line is the mean of those through every way they can lie, each weighted
 * by how well it explains the points (Bayesian model averaging: J. A. Hoeting et al., Stat. Sci. 14, 1999). The groups' means
 * then say which way it slopes, and what each group shows by itself how steeply.
 *
 * Where one group may have been misread, ways in which any one of them was are weighed too. The means of three lie on a line
 * without each of them; what they show by themselves tells which of these lines is theirs.
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

  const origin = mean(places);
  // Of the points' mean: taken from each point, a shared relative error would bend the line (R. W. Peelle's puzzle).
  const level = mean(points.map((point) => point.value));
  const groups = [...new Set(points.map(({ group }) => group))]
    .map((group) => points.filter((point) => point.group === group))
    .map((own) => ({ own, span: spanOf(own) }))
    .sort((a, b) => b.span - a.span);
  const doubt = options.oneMayBeMisread === true && groups.length >= LEAST_TO_DOUBT;
  let ways: Way[] = [{ sums: [0, 0, 0, 0, 0, 0], turned: 0, count: 0, misread: null, logDensity: 0 }];
  groups.forEach(({ own, span }, i) => {
    const turns = options.eitherWay === true && span > 0;
    const known = turns && i >= MOST_TURNED;
    const errors: GroupErrors = {
      scale: own[0]!.sharedRelativeU ?? options.scaleRelativeUncertainty,
      gradient: known ? UNKNOWN_GRADIENT : options.gradientRelativeUncertainty,
    };
    const misread: GroupErrors = {
      scale: Math.hypot(errors.scale, MISREAD_RELATIVE_U),
      gradient: Math.hypot(errors.gradient, MISREAD_GRADIENT),
    };
    const lies = turns && !known ? [own, turned(own)] : [own];
    const told = lies.flatMap((seen, isTurned) =>
      (doubt ? [errors, misread] : [errors]).map((each) => ({
        ...whatTold(seen, level, origin, each),
        turned: isTurned,
        count: lies.length - 1,
        misread: each === misread ? own[0]!.group : null,
      })),
    );
    ways = ways.flatMap((way) =>
      told
        .filter((one) => one.misread === null || way.misread === null)
        .map((one) => ({
          sums: added(way.sums, one.sums),
          turned: way.turned + one.turned,
          count: way.count + one.count,
          misread: way.misread ?? one.misread,
          logDensity: way.logDensity + one.logDensity,
        })),
    );
  });
  const lines = ways.map(({ sums, logDensity, ...way }) => ({
    ...lineThrough(sums),
    logDensity,
    prior: priorOf(way),
    misread: way.misread,
  }));
  const least = Math.min(...lines.map(({ chiSquared }) => chiSquared));
  const widen = Math.sqrt(Math.max(1, least / (n - 2)));
  const logWeights = lines.map(
    ({ prior, logDensity, chiSquared, variance, covariance, slopeVariance }) =>
      Math.log(prior) +
      logDensity -
      chiSquared / (2 * widen ** 2) +
      Math.log(variance * slopeVariance - covariance ** 2) / 2,
  );
  const most = Math.max(...logWeights);
  const weights = logWeights.map((weight) => Math.exp(weight - most));
  const total = weights.reduce((sum, w) => sum + w, 0);
  const averaged = (of: (line: Line) => number): number =>
    lines.reduce((sum, line, i) => sum + (weights[i]! / total) * of(line), 0);
  const [intercept, slope] = [averaged((line) => line.intercept), averaged((line) => line.slope)];
  const variance = averaged((line) => widen ** 2 * line.variance + (line.intercept - intercept) ** 2);
  const varianceOfSlope = averaged((line) => widen ** 2 * line.slopeVariance + (line.slope - slope) ** 2);
  const covariance = averaged(
    (line) => widen ** 2 * line.covariance + (line.intercept - intercept) * (line.slope - slope),
  );
  const fromOrigin = -covariance / varianceOfSlope;
  const degreesOfFreedom = n - 2 + STATED_FREEDOM;
  const falls = averaged((line) =>
    jstat.jStat.studentt.cdf(-line.slope / (widen * Math.sqrt(line.slopeVariance)), degreesOfFreedom),
  );
  return {
    pivot: origin + fromOrigin,
    valueAtPivot: {
      value: level + intercept + slope * fromOrigin,
      standardUncertainty: Math.sqrt(Math.max(0, variance - covariance ** 2 / varianceOfSlope)),
    },
    slope: { value: slope, standardUncertainty: Math.sqrt(varianceOfSlope) },
    degreesOfFreedom,
    pValue: 2 * Math.min(falls, 1 - falls),
    likeliestMisread: doubt ? likeliestOf(lines, weights) : null,
  };
}

/** Of points weighted by W, their places x from the origin and values y above the level: 1ᵀW1, 1ᵀWx, xᵀWx, 1ᵀWy, xᵀWy, yᵀWy. */
type Sums = [number, number, number, number, number, number];

/** One way in which the groups may lie and have been read: of `count` that can, `turned` are; one at most is misread. */
interface Way {
  sums: Sums;
  turned: number;
  count: number;
  misread: string | null;
  /** Of the points, as far as it depends on how they were read. */
  logDensity: number;
}

/** Relative standard uncertainties that the points of a group share. */
interface GroupErrors {
  scale: number;
  gradient: number;
}

function likeliestOf(
  lines: readonly { misread: string | null }[],
  weights: readonly number[],
): string | null {
  const chances = new Map<string, number>();
  lines.forEach(({ misread }, i) => {
    if (misread !== null) chances.set(misread, (chances.get(misread) ?? 0) + weights[i]!);
  });
  return [...chances].reduce((a, b) => (b[1] > a[1] ? b : a))[0];
}

const added = (a: Sums, b: Sums): Sums => a.map((v, k) => v + b[k]!) as Sums;

function priorOf({ turned, count, misread }: Pick<Way, 'turned' | 'count' | 'misread'>): number {
  const unlike = LIES_UNLIKE_THE_OTHERS;
  const chance = (k: number): number => unlike ** k * (1 - unlike) ** (count - k);
  return (chance(turned) + chance(count - turned)) * (misread === null ? 1 - MISREAD_CHANCE : MISREAD_CHANCE);
}

/** What the points of one group say of a line, W being the inverse of their covariance. */
function whatTold(
  own: readonly TrendPoint[],
  level: number,
  origin: number,
  errors: GroupErrors,
): { sums: Sums; logDensity: number } {
  const span = spanOf(own);
  const centre = mean(own.map(({ at }) => at));
  const covariance = new Matrix(
    own.map((a, i) =>
      own.map((b, j) => {
        const lever = span > 0 ? ((a.at - centre) * (b.at - centre)) / span ** 2 : 0;
        const shared = level ** 2 * (errors.scale ** 2 + errors.gradient ** 2 * lever);
        return shared + (i === j ? a.standardUncertainty ** 2 : 0);
      }),
    ),
  );
  const weight = inverse(covariance);
  const product = (of: (p: TrendPoint) => number, by: (p: TrendPoint) => number): number =>
    own.reduce((sum, a, i) => sum + own.reduce((row, b, j) => row + of(a) * weight.get(i, j) * by(b), 0), 0);
  const one = () => 1;
  const x = ({ at }: TrendPoint) => at - origin;
  // Less the level: what the line leaves over would be a small difference of large sums else.
  const y = ({ value }: TrendPoint) => value - level;
  return {
    sums: [product(one, one), product(one, x), product(x, x), product(one, y), product(x, y), product(y, y)],
    logDensity: -Math.log(determinant(covariance)) / 2,
  };
}

interface Line {
  intercept: number;
  slope: number;
  variance: number;
  covariance: number;
  slopeVariance: number;
  chiSquared: number;
}

function lineThrough([w, wx, wxx, wy, wxy, wyy]: Sums): Line {
  const determinant = w * wxx - wx ** 2;
  const intercept = (wxx * wy - wx * wxy) / determinant;
  const slope = (w * wxy - wx * wy) / determinant;
  return {
    intercept,
    slope,
    variance: wxx / determinant,
    covariance: -wx / determinant,
    slopeVariance: w / determinant,
    chiSquared: Math.max(0, wyy - intercept * wy - slope * wxy),
  };
}

const spanOf = (own: readonly TrendPoint[]): number =>
  Math.max(...own.map(({ at }) => at)) - Math.min(...own.map(({ at }) => at));

/** The same readings in a picture that lies the other way round. */
function turned(own: readonly TrendPoint[]): TrendPoint[] {
  const centre = mean(own.map(({ at }) => at));
  return own.map((point) => ({ ...point, at: 2 * centre - point.at }));
}
