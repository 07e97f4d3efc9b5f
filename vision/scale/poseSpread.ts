import jstat from 'jstat';
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import type { Matrix3, Point } from '../types.ts';
import type { FocalHypothesis } from './camera.ts';
import { mmPerPxAt } from './lens.ts';
import {
  misfitOf,
  moved,
  movement,
  PARAMETERS,
  workHomography,
  type Pose,
  type PoseFit,
  type PoseSolution,
} from './poseFit.ts';

/** Poses drawn about each fit, and how much wider than its own covariance says. */
const DRAWN = 160;
const WIDER = 1.3;
/** Below this many poses' worth of weight, what was drawn says too little. */
const LEAST_EFFECTIVE = 12;
/** Steps of the sequences that are drawn from: one for each parameter. */
const STEPS = [2, 3, 5, 7, 11, 13, 17, 19].map(Math.sqrt);

/**
 * How uncertain a scale is when its plane may lie in several ways, or in one that bends the scale so much that a straight
 * line through the best fit does not say it: a card seen from above may lean either way, and four corners marked by hand
 * tell a slight lean from none only poorly.
 *
 * Poses are drawn about each fit and weighed by how well they explain the points and what is believed (importance
 * sampling with the balance heuristic: E. Veach and L. Guibas, SIGGRAPH 1995), evenly spread by multiples of
 * square roots (R. D. Richtmyer, LA-1342, 1951), so that equal photos give equal answers.
 *
 * @param fits of the same points; the first is the one that is measured with
 * @param focals what may be believed of the focal length
 * @returns relative standard uncertainty of the first fit's mm per px at a decoded point; the fit's own where drawing
 *   says too little
 */
export function poseSpread(
  fits: readonly PoseFit[],
  focals: readonly FocalHypothesis[],
): (p: Point) => number {
  const first = fits[0]!;
  const { input } = first.solution;
  const { size } = input;
  const proposals = fits.map(proposalOf).filter((q) => q !== null);
  const drawn: { homography: Matrix3; k1: number; logWeight: number }[] = [];
  const birge = Math.min(...fits.map(({ solution }) => solution.birge));
  proposals.forEach((q, k) => {
    for (let i = 0; i < DRAWN; i++) {
      const z = normalPoint(k * DRAWN + i);
      const pose = moved(q.solution.pose, q.spread(z));
      if (!(pose.t[2] > 0)) continue;
      const logDensity = logSum(proposals.map((other) => other.logDensity(pose)));
      const logTarget = -0.5 * (misfitOf(input, pose) / birge + beliefs(q.solution, focals, pose));
      drawn.push({
        homography: workHomography(input, pose, 0, 0),
        k1: pose.k1,
        logWeight: logTarget - logDensity,
      });
    }
  });
  const most = Math.max(...drawn.map((d) => d.logWeight));
  const weights = drawn.map((d) => Math.exp(d.logWeight - most));
  const sum = weights.reduce((s, w) => s + w, 0);
  const effective = sum ** 2 / weights.reduce((s, w) => s + w * w, 0);
  if (!(effective >= LEAST_EFFECTIVE)) return (p) => first.relativeUncertaintyAt(p);
  return (p) => {
    const own = mmPerPxAt(first.homographyPxToMm, first.k1, p, size);
    const squares = drawn.reduce(
      (s, d, i) => s + weights[i]! * Math.log(mmPerPxAt(d.homography, d.k1, p, size) / own) ** 2,
      0,
    );
    // The work's height and the thing's size bend nothing: drawn as well, they would only add noise, and what is known of
    // the height later could not be put in their place (`knowWorkHeight`).
    const height = first.relativePerMmOfHeightAt(p) * input.workHeightMm.sd;
    return Math.hypot(Math.sqrt(squares / sum), height, input.sizeSd);
  };
}

const points: number[][] = [];

/** The n-th of points that lie as the normal distribution does on every axis; kept, as every photo draws the same. */
function normalPoint(n: number): readonly number[] {
  return (points[n] ??= STEPS.map((step) => jstat.jStat.normal.inv(((n + 1) * step) % 1, 0, 1)));
}

/** −2 ln of what is believed of a pose, up to a constant. */
function beliefs({ input }: PoseSolution, focals: readonly FocalHypothesis[], pose: Pose): number {
  const { k1, tiltSd } = input;
  const lean = tiltSd === undefined ? 0 : (pose.r[2] ** 2 + pose.r[5] ** 2) / tiltSd ** 2;
  const focal = logSum(
    focals.map((f) => -0.5 * f.penalty - Math.log(f.sd) - 0.5 * ((pose.logF - f.mean) / f.sd) ** 2),
  );
  return lean + ((pose.k1 - k1.mean) / k1.sd) ** 2 - 2 * focal;
}

/** The normal distribution about a fit that poses are drawn from; null where its covariance is none. */
function proposalOf({ solution }: PoseFit) {
  const covariance = solution.covariance.clone().mul(WIDER * WIDER);
  // symmetric to the last bit
  const cholesky = new CholeskyDecomposition(covariance.clone().add(covariance.transpose()).mul(0.5));
  if (!cholesky.isPositiveDefinite()) return null;
  const lower = cholesky.lowerTriangularMatrix;
  const logDeterminant = lower.diagonal().reduce((s, v) => s + Math.log(v), 0);
  return {
    solution,
    spread: (z: readonly number[]): number[] => lower.mmul(Matrix.columnVector([...z])).to1DArray(),
    logDensity(pose: Pose): number {
      // forward substitution: z = L⁻¹ d
      const d = movement(solution.pose, pose);
      let squares = 0;
      const z: number[] = [];
      for (let i = 0; i < PARAMETERS; i++) {
        let v = d[i]!;
        for (let j = 0; j < i; j++) v -= lower.get(i, j) * z[j]!;
        z.push(v / lower.get(i, i));
        squares += z[i]! ** 2;
      }
      return -0.5 * squares - logDeterminant;
    },
  };
}

/** ln Σ exp. */
function logSum(values: readonly number[]): number {
  const most = Math.max(...values);
  return most + Math.log(values.reduce((s, v) => s + Math.exp(v - most), 0));
}
