import { CholeskyDecomposition, inverse, Matrix } from 'ml-matrix';
import type { Matrix3, Scale, ScaleVariation } from '../../types.ts';
import type { WeighedPlane } from './weighPlanes.ts';

/** One way of scaling a picture. */
export type ScaledBy = Pick<Scale, 'homographyPxToMm' | 'radialDistortion'>;

/** What a picture shows by one way of scaling it, each against what is believed of it: 0 is what is expected. */
export type Looks = (by: ScaledBy) => number[];

/** One possibility: how far each of the looks may be from 0, standard deviations, and how likely that is beforehand. */
export interface LooksBelief {
  sd: readonly number[];
  share: number;
}

/** What something in the picture says, in all of its possibilities; shares add up to 1. */
export interface Signs {
  looks: Looks;
  beliefs: readonly LooksBelief[];
}

/** Several things that err independently, as one. */
export function signsTogether(signs: readonly Signs[]): Signs {
  return {
    looks: (by) => signs.flatMap(({ looks }) => looks(by)),
    beliefs: signs.reduce<LooksBelief[]>(
      (all, { beliefs }) =>
        all.flatMap((one) =>
          beliefs.map(({ sd, share }) => ({ sd: [...one.sd, ...sd], share: one.share * share })),
        ),
      [{ sd: [], share: 1 }],
    ),
  };
}

const ROUNDS = 4;
/** Moved by this much, in standard deviations, to see how looks change. */
const STEP = 0.2;

/**
 * Planes that were fitted to a tape's marks, held against something else that the picture shows. A straight tape tells hardly
 * how the table leans about it; a piece whose sides are as long as each other by one lean and not by another tells that.
 * Each plane is moved to where both fit best (Gauss–Newton), and counts as it explains both (Laplace's approximation of
 * the evidence), once for each possibility of what is believed.
 *
 * @param looks what is looked at, by any homography and lens
 * @returns likeliest first; null where none can be held
 */
export function holdPlanes(
  planes: readonly WeighedPlane[],
  looks: Looks,
  beliefs: readonly LooksBelief[],
): WeighedPlane[] | null {
  const held: {
    plane: WeighedPlane['plane'];
    bent: boolean;
    weight: number;
    delta: number[];
    covariance: number[][];
  }[] = [];
  for (const { plane, bent, share } of planes) {
    const n = plane.covariance.length;
    // a height of the work changes all alike and is known apart: it stays
    const m = n - 1;
    const prior = new Matrix(plane.covariance.slice(0, m).map((row) => row.slice(0, m)));
    let information: Matrix;
    try {
      information = inverse(prior);
    } catch {
      continue;
    }
    const by = (delta: readonly number[]) => ({
      homographyPxToMm: plane.homographyAt([...delta, 0]),
      radialDistortion: plane.radialDistortion + delta[7]!,
    });
    const steps = Array.from({ length: m }, (_, j) =>
      Math.max(1e-12, STEP * Math.sqrt(Math.max(0, plane.covariance[j]![j]!))),
    );
    for (const belief of beliefs) {
      let delta = new Array<number>(m).fill(0);
      let normal = information.clone();
      let seen = looks(by(delta));
      for (let round = 0; round < ROUNDS; round++) {
        const slopes = steps.map((step, j) => {
          const moved = [...delta];
          moved[j]! += step;
          return looks(by(moved)).map((v, k) => (v - seen[k]!) / step);
        });
        normal = information.clone();
        const right = information.mmul(Matrix.columnVector(delta)).mul(-1);
        for (let k = 0; k < seen.length; k++) {
          const w = belief.sd[k]! ** -2;
          for (let i = 0; i < m; i++) {
            right.set(i, 0, right.get(i, 0) - w * slopes[i]![k]! * seen[k]!);
            for (let j = 0; j < m; j++)
              normal.set(i, j, normal.get(i, j) + w * slopes[i]![k]! * slopes[j]![k]!);
          }
        }
        let move: number[];
        try {
          move = inverse(normal).mmul(right).getColumn(0);
        } catch {
          break;
        }
        delta = delta.map((v, i) => v + move[i]!);
        seen = looks(by(delta));
        if (!seen.every(Number.isFinite)) break;
      }
      if (!seen.every(Number.isFinite)) continue;
      const row = Matrix.rowVector(delta);
      const cost =
        row.mmul(information).mmul(row.transpose()).get(0, 0) +
        seen.reduce((sum, v, k) => sum + (v / belief.sd[k]!) ** 2 + 2 * Math.log(belief.sd[k]!), 0);
      const freedom = logDeterminant(normal) - logDeterminant(information);
      if (!Number.isFinite(cost + freedom)) continue;
      held.push({
        plane,
        bent,
        weight: Math.log(share * belief.share) - (cost + freedom) / 2,
        delta,
        covariance: inverse(normal).to2DArray(),
      });
    }
  }
  if (held.length === 0) return null;
  const most = Math.max(...held.map((h) => h.weight));
  const sum = held.reduce((s, h) => s + Math.exp(h.weight - most), 0);
  return held
    .map(({ plane, bent, weight, delta, covariance }) => ({
      bent,
      share: Math.exp(weight - most) / sum,
      plane: movedPlane(plane, delta, covariance),
    }))
    .filter(({ share }) => share > 0.003)
    .sort((a, b) => b.share - a.share);
}

function movedPlane(
  plane: WeighedPlane['plane'],
  delta: readonly number[],
  covariance: number[][],
): WeighedPlane['plane'] {
  const m = delta.length;
  const height = plane.covariance[m]![m]!;
  const parameters = plane.parameters.map((v, i) => v + (delta[i] ?? 0));
  const homographyAt = (more: number[]): Matrix3 =>
    plane.homographyAt(more.map((v, i) => v + (delta[i] ?? 0)));
  return {
    ...plane,
    homographyAt,
    homographyPxToMm: homographyAt(new Array<number>(m + 1).fill(0)),
    radialDistortion: plane.radialDistortion + delta[7]!,
    tiltDeg: (Math.atan(Math.hypot(parameters[3]!, parameters[4]!)) * 180) / Math.PI,
    parameters,
    covariance: [...covariance.map((row) => [...row, 0]), [...new Array<number>(m).fill(0), height]],
  };
}

/**
 * The mean of all planes, each as likely as it is: less far off than the likeliest where two of them are nearly as likely as
 * each other. All have one origin and one direction, those of the tape.
 */
export function meanOfPlanes(
  planes: readonly WeighedPlane[],
): Pick<WeighedPlane['plane'], 'homographyPxToMm' | 'radialDistortion'> {
  const total = planes.reduce((sum, { share }) => sum + share, 0);
  const mean = (of: (plane: WeighedPlane['plane']) => number): number =>
    planes.reduce((sum, { plane, share }) => sum + (share / total) * of(plane), 0);
  return {
    homographyPxToMm: planes[0]!.plane.homographyPxToMm.map((_, e) =>
      mean((plane) => plane.homographyPxToMm[e]!),
    ) as Matrix3,
    radialDistortion: mean((plane) => plane.radialDistortion),
  };
}

/**
 * The planes' mean moved by a standard deviation along each way in which each of them is unsure, and to each of them, as
 * likely as it is (`ScaleVariation`). The height of the work is left out.
 */
export function variationsOf(planes: readonly WeighedPlane[]): ScaleVariation[] {
  const mean = meanOfPlanes(planes);
  return planes.flatMap(({ plane, share }) => {
    const n = plane.covariance.length - 1;
    const part = new Matrix(plane.covariance.slice(0, n).map((row) => row.slice(0, n)));
    const cholesky = new CholeskyDecomposition(part.clone().add(part.transpose()).mul(0.5));
    if (!cholesky.isPositiveDefinite()) return [];
    const root = cholesky.lowerTriangularMatrix;
    // from the mean, so that what is added for being another one counts once and not for each way
    const own = Array.from({ length: n }, (_, j) => {
      const delta = [...root.getColumn(j), 0];
      const there = plane.homographyAt(delta);
      return {
        homographyPxToMm: there.map(
          (v, e) => mean.homographyPxToMm[e]! + v - plane.homographyPxToMm[e]!,
        ) as Matrix3,
        radialDistortion: mean.radialDistortion + delta[7]!,
        weight: share,
      };
    });
    const { homographyPxToMm, radialDistortion } = plane;
    return [...own, { homographyPxToMm, radialDistortion, weight: share }];
  });
}

function logDeterminant(symmetric: Matrix): number {
  const cholesky = new CholeskyDecomposition(symmetric.clone().add(symmetric.transpose()).mul(0.5));
  if (!cholesky.isPositiveDefinite()) return NaN;
  return 2 * cholesky.lowerTriangularMatrix.diagonal().reduce((s, v) => s + Math.log(v), 0);
}
