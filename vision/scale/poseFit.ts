import { inverse, Matrix, solve } from 'ml-matrix';
import type { Matrix3, Point } from '../types.ts';
import type { EdgePoint } from './edgeFit.ts';
import { inverted, normalised } from './geometry.ts';
import { mmPerPxAt, pictureCentre, undistort, type PictureSize } from './lens.ts';

/** What is believed before looking: mean and standard deviation. */
export interface Belief {
  mean: number;
  sd: number;
}

export type MmLine = [number, number, number];

/** The four sides of a rectangle whose corner 0 is at (0, 0) and corner 1 at (widthMm, 0), clockwise. */
export function rectangleLines(widthMm: number, heightMm: number): MmLine[] {
  return [
    [0, 1, 0],
    [1, 0, -widthMm],
    [0, 1, -heightMm],
    [1, 0, 0],
  ];
}

export interface PoseFitInput {
  size: PictureSize;
  /** Straight lines on the reference, mm, as (a, b, c) with a x + b y + c = 0; `EdgePoint.side` counts them. */
  lines: readonly MmLine[];
  /** Reference mm → decoded px, roughly. */
  start: Matrix3;
  edges: readonly EdgePoint[];
  /** ln(focal length in px). */
  logFocal: Belief;
  k1: Belief;
  /** Height of the plane of the work above the reference's face, mm, toward the camera. */
  workHeightMm: Belief;
  /** Relative standard uncertainty of the reference's own size. */
  sizeSd: number;
  /**
   * What all edge points of a side share, px (standard deviation), side by side: a shadow, sharpening or the
   * thing's own thickness moves a whole side. Default 0.
   */
  sideSharedPx?: readonly number[];
  /** True size ÷ the size that `lines` give. Default 1. */
  sizeFactor?: number;
  /** Standard deviation of either slope of the plane about "seen straight from above", as a sine. Default: nothing is believed. */
  tiltSd?: number;
  /** Steps after which a fit is taken as it is. Default 30, of which most need ten. */
  mostSteps?: number;
}

export interface PoseFit {
  /** Undistorted decoded px → mm in the plane of the work. */
  homographyPxToMm: Matrix3;
  homographyCovariance: number[];
  /** mm on the reference's own face, as `lines` give it → undistorted decoded px. */
  faceMmToPx: Matrix3;
  focalPx: number;
  k1: number;
  k1Sd: number;
  tiltDeg: number;
  /** Camera to the reference along the optical axis, mm. */
  distanceMm: number;
  /** Weighted sum of squares and its degrees of freedom; beliefs count on both sides. */
  chiSquare: number;
  degreesOfFreedom: number;
  /** Root mean square of the edge residuals, px. */
  rmsPx: number;
  /** Relative standard uncertainty of mm per px at a decoded point. */
  relativeUncertaintyAt(p: Point): number;
  /** Relative change of mm per px at a decoded point when the work lies 1 mm higher. */
  relativePerMmOfHeightAt(p: Point): number;
  /** What was fitted, and how surely: for `poseSpread`. */
  solution: PoseSolution;
}

/** A fit that can be looked at around its minimum. */
export interface PoseSolution {
  input: PoseFitInput;
  pose: Pose;
  /** Of the parameters of `moved`, 8 × 8. */
  covariance: Matrix;
  /** How much worse the points fit than they claim, as a factor on their variance; at least 1. */
  birge: number;
}

type Vector = [number, number, number];

/** Rotation matrix (row-major) of a rotation vector (Rodrigues). */
function rotation(v: Vector): Matrix3 {
  const a = Math.hypot(...v);
  if (a < 1e-12) return [1, -v[2], v[1], v[2], 1, -v[0], -v[1], v[0], 1];
  const [x, y, z] = [v[0] / a, v[1] / a, v[2] / a];
  const c = Math.cos(a);
  const s = Math.sin(a);
  const t = 1 - c;
  return [
    c + x * x * t,
    x * y * t - z * s,
    x * z * t + y * s,
    y * x * t + z * s,
    c + y * y * t,
    y * z * t - x * s,
    z * x * t - y * s,
    z * y * t + x * s,
    c + z * z * t,
  ];
}

function times(a: Matrix3, b: Matrix3): Matrix3 {
  const out = new Array<number>(9);
  for (let r = 0; r < 3; r++) {
    for (let c = 0; c < 3; c++)
      out[3 * r + c] = a[3 * r]! * b[c]! + a[3 * r + 1]! * b[3 + c]! + a[3 * r + 2]! * b[6 + c]!;
  }
  return out as Matrix3;
}

/** Rotation (about the last estimate), translation, ln focal, k1, then height and size for the covariance. */
export interface Pose {
  r: Matrix3;
  t: Vector;
  logF: number;
  k1: number;
}

/** Parameters of a pose. */
export const PARAMETERS = 8;

export function moved(pose: Pose, d: ArrayLike<number>): Pose {
  return {
    r: times(rotation([d[0]!, d[1]!, d[2]!]), pose.r),
    t: [pose.t[0] + d[3]!, pose.t[1] + d[4]!, pose.t[2] + d[5]!],
    logF: pose.logF + d[6]!,
    k1: pose.k1 + d[7]!,
  };
}

/** The parameters with which `moved` comes from one pose to another. */
export function movement(from: Pose, to: Pose): number[] {
  const [a, b] = [to.r, from.r];
  // from's rotation taken off: to · fromᵀ
  const turn = [0, 1, 2].flatMap((i) =>
    [0, 1, 2].map(
      (j) => a[3 * i]! * b[3 * j]! + a[3 * i + 1]! * b[3 * j + 1]! + a[3 * i + 2]! * b[3 * j + 2]!,
    ),
  );
  const angle = Math.acos(Math.max(-1, Math.min(1, (turn[0]! + turn[4]! + turn[8]! - 1) / 2)));
  const k = angle < 1e-9 ? 0.5 : angle / (2 * Math.sin(angle));
  return [
    k * (turn[7]! - turn[5]!),
    k * (turn[2]! - turn[6]!),
    k * (turn[3]! - turn[1]!),
    to.t[0] - from.t[0],
    to.t[1] - from.t[1],
    to.t[2] - from.t[2],
    to.logF - from.logF,
    to.k1 - from.k1,
  ];
}

/** Reference mm (plane at `heightMm` above the face) → undistorted px. */
function mmToPx(pose: Pose, size: PictureSize, heightMm: number): Matrix3 {
  const f = Math.exp(pose.logF);
  const c = pictureCentre(size);
  const { r, t } = pose;
  // x right, y down on the reference makes z point away from the camera: height is −z.
  const tx = t[0] - heightMm * r[2];
  const ty = t[1] - heightMm * r[5];
  const tz = t[2] - heightMm * r[8];
  return [
    f * r[0] + c.x * r[6],
    f * r[1] + c.x * r[7],
    f * tx + c.x * tz,
    f * r[3] + c.y * r[6],
    f * r[4] + c.y * r[7],
    f * ty + c.y * tz,
    r[6],
    r[7],
    tz,
  ];
}

/** A first pose from four corners and an assumed focal length. */
function firstPose(input: PoseFitInput, focalPx: number): Pose {
  const h = input.start;
  const c = pictureCentre(input.size);
  const column = (i: number): Vector => {
    const w = h[6 + i]!;
    return [(h[i]! - c.x * w) / focalPx, (h[3 + i]! - c.y * w) / focalPx, w];
  };
  const u = column(0);
  const v = column(1);
  const t = column(2);
  const scale = Math.sign(t[2]) / Math.sqrt(Math.hypot(...u) * Math.hypot(...v));
  const nu = Math.hypot(...u) * Math.sign(t[2]);
  const x: Vector = [u[0] / nu, u[1] / nu, u[2] / nu];
  const along = (x[0] * v[0] + x[1] * v[1] + x[2] * v[2]) * 1;
  const w: Vector = [v[0] - along * x[0], v[1] - along * x[1], v[2] - along * x[2]];
  const nw = Math.hypot(...w) * Math.sign(t[2]);
  const y: Vector = [w[0] / nw, w[1] / nw, w[2] / nw];
  const z: Vector = [x[1] * y[2] - x[2] * y[1], x[2] * y[0] - x[0] * y[2], x[0] * y[1] - x[1] * y[0]];
  return {
    r: [x[0], y[0], z[0], x[1], y[1], z[1], x[2], y[2], z[2]],
    t: [t[0] * scale, t[1] * scale, t[2] * scale],
    logF: Math.log(focalPx),
    k1: input.k1.mean,
  };
}

const MOST_STEPS = 30;

/**
 * Finds how a flat rectangle of known size lies before the camera, from points on its sides.
 *
 * Least squares over rotation, translation, focal length and radial distortion; what is believed about the
 * last two enters as two more observations (JCGM 100:2008, 4.3 and H.3). A small card cannot tell its
 * perspective well; the beliefs keep it from inventing one. The covariance is carried on to the homography.
 */
export function fitPose(input: PoseFitInput): PoseFit | null {
  const { size } = input;
  const sides = sidesOf(input);

  let pose = firstPose(input, Math.exp(input.logFocal.mean));
  if (!pose.t.every(Number.isFinite) || pose.t[2] <= 0) return null;
  const n = input.edges.length;
  if (n < PARAMETERS - 1) return null;

  const steps = [1e-5, 1e-5, 1e-5, pose.t[2] * 1e-5, pose.t[2] * 1e-5, pose.t[2] * 1e-5, 1e-5, 1e-5];

  let current = costOf(input, pose, residualsOf(input, sides, pose));
  let damping = 1e-3;
  for (let iteration = 0; iteration < (input.mostSteps ?? MOST_STEPS); iteration++) {
    const { a, g } = normalMatrix(input, sides, steps, pose);
    let improved = false;
    for (let attempt = 0; attempt < 6; attempt++) {
      const damped = a.clone();
      for (let k = 0; k < PARAMETERS; k++) damped.set(k, k, a.get(k, k) * (1 + damping) + 1e-12);
      let delta: Matrix;
      try {
        delta = solve(damped, g).mul(-1);
      } catch {
        return null;
      }
      const next = moved(pose, delta.to1DArray());
      const value =
        next.t[2] > 0 && Math.abs(next.k1) < 0.3
          ? costOf(input, next, residualsOf(input, sides, next))
          : Infinity;
      if (value < current) {
        const gain = current - value;
        pose = next;
        current = value;
        damping = Math.max(1e-9, damping / 5);
        improved = gain > 1e-6 * (1 + current);
        break;
      }
      damping *= 6;
    }
    if (!improved) break;
  }

  const residuals = rawResidualsOf(input, pose);
  const { a } = normalMatrix(input, sides, steps, pose);
  let parameterCovariance: Matrix;
  try {
    parameterCovariance = inverse(a);
  } catch {
    return null;
  }
  const degreesOfFreedom = n - 6;
  // Scatter beyond what the single points claim means that their claims were too good (Birge's ratio).
  const birge = Math.max(1, current / Math.max(1, degreesOfFreedom));
  const full = Matrix.zeros(PARAMETERS + 2, PARAMETERS + 2);
  for (let j = 0; j < PARAMETERS; j++) {
    for (let k = 0; k < PARAMETERS; k++) full.set(j, k, parameterCovariance.get(j, k) * birge);
  }
  full.set(PARAMETERS, PARAMETERS, input.workHeightMm.sd ** 2);
  full.set(PARAMETERS + 1, PARAMETERS + 1, input.sizeSd ** 2);

  /** Work-plane homography for changed parameters; the last is the relative size of the reference. */
  const homographyFor = (d: ArrayLike<number>): Matrix3 =>
    workHomography(input, moved(pose, d), d[PARAMETERS]!, d[PARAMETERS + 1]!);
  const count = PARAMETERS + 2;
  const allSteps = [...steps, 1e-2, 1e-4];
  const shift = (k: number, amount: number): Float64Array => {
    const d = new Float64Array(count);
    d[k] = amount;
    return d;
  };
  const homography = homographyFor(new Float64Array(count));
  const derivative = Matrix.zeros(9, count);
  for (let k = 0; k < count; k++) {
    const plus = homographyFor(shift(k, allSteps[k]!));
    const minus = homographyFor(shift(k, -allSteps[k]!));
    for (let i = 0; i < 9; i++) derivative.set(i, k, (plus[i]! - minus[i]!) / (2 * allSteps[k]!));
  }
  const covariance = derivative.mmul(full).mmul(derivative.transpose());

  const relativeUncertaintyAt = (p: Point): number => {
    const gradient = Matrix.zeros(1, count);
    for (let k = 0; k < count; k++) {
      const at = (amount: number): number => {
        const d = shift(k, amount);
        return Math.log(mmPerPxAt(homographyFor(d), pose.k1 + d[7]!, p, size));
      };
      gradient.set(0, k, (at(allSteps[k]!) - at(-allSteps[k]!)) / (2 * allSteps[k]!));
    }
    return Math.sqrt(Math.max(0, gradient.mmul(full).mmul(gradient.transpose()).get(0, 0)));
  };

  const relativePerMmOfHeightAt = (p: Point): number => {
    const at = (mm: number) => Math.log(mmPerPxAt(homographyFor(shift(PARAMETERS, mm)), pose.k1, p, size));
    return (at(0.05) - at(-0.05)) / 0.1;
  };

  let squares = 0;
  input.edges.forEach((edge, i) => (squares += (residuals[i]! * edge.sigmaPx) ** 2));
  return {
    homographyPxToMm: homography,
    homographyCovariance: covariance.to1DArray(),
    faceMmToPx: mmToPx(pose, size, 0),
    focalPx: Math.exp(pose.logF),
    k1: pose.k1,
    k1Sd: Math.sqrt(parameterCovariance.get(7, 7)),
    tiltDeg: (Math.acos(Math.min(1, Math.abs(pose.r[8]))) * 180) / Math.PI,
    distanceMm: pose.t[2],
    chiSquare: current,
    degreesOfFreedom,
    rmsPx: Math.sqrt(squares / Math.max(1, input.edges.length)),
    relativeUncertaintyAt,
    relativePerMmOfHeightAt,
    solution: { input, pose, covariance: parameterCovariance.clone().mul(birge), birge },
  };
}

/** Undistorted px → mm on the work, which lies `higherMm` higher than believed, of a reference larger by a share. */
export function workHomography(
  input: PoseFitInput,
  pose: Pose,
  higherMm: number,
  largerShare: number,
): Matrix3 {
  const toMm = normalised(inverted(mmToPx(pose, input.size, input.workHeightMm.mean + higherMm)));
  const k = (input.sizeFactor ?? 1) * (1 + largerShare);
  return [toMm[0] * k, toMm[1] * k, toMm[2] * k, toMm[3] * k, toMm[4] * k, toMm[5] * k, toMm[6], toMm[7], 1];
}

/** −2 ln of how well a pose explains the edge points, up to a constant; of what is believed it says nothing. */
export function misfitOf(input: PoseFitInput, pose: Pose): number {
  let sum = 0;
  for (const v of residualsOf(input, sidesOf(input), pose)) sum += huber(v);
  return sum;
}

/** Indexes of each side's edge points. */
function sidesOf({ edges }: PoseFitInput): Map<number, number[]> {
  const sides = new Map<number, number[]>();
  edges.forEach((edge, i) => {
    const members = sides.get(edge.side);
    if (members) members.push(i);
    else sides.set(edge.side, [i]);
  });
  return sides;
}

/** Distances of the edge points from their lines, in their own standard deviations. */
function rawResidualsOf(input: PoseFitInput, pose: Pose): Float64Array {
  const { size, edges } = input;
  const toMm = inverted(mmToPx(pose, size, 0));
  // A line l in mm is the line toMmᵀ l in px.
  const lines = input.lines.map((l): Vector => {
    const a = toMm[0] * l[0] + toMm[3] * l[1] + toMm[6] * l[2];
    const b = toMm[1] * l[0] + toMm[4] * l[1] + toMm[7] * l[2];
    const c = toMm[2] * l[0] + toMm[5] * l[1] + toMm[8] * l[2];
    const n = Math.hypot(a, b);
    return [a / n, b / n, c / n];
  });
  const out = new Float64Array(edges.length);
  for (let i = 0; i < out.length; i++) {
    const edge = edges[i]!;
    const p = undistort(edge.point, size, pose.k1);
    const l = lines[edge.side]!;
    out[i] = (l[0] * p.x + l[1] * p.y + l[2]) / edge.sigmaPx;
  }
  return out;
}

/**
 * The same made independent where a side's points share a part: with covariance I + s² u uᵀ (u = 1 ÷ σ), the inverse
 * square root is I − α u uᵀ.
 *
 * @param sides indexes of each side's edge points
 */
function residualsOf(input: PoseFitInput, sides: Map<number, number[]>, pose: Pose): Float64Array {
  const residuals = rawResidualsOf(input, pose);
  const { edges, sideSharedPx: shared } = input;
  if (!shared) return residuals;
  const out = residuals.slice();
  for (const [side, members] of sides) {
    let squares = 0;
    let along = 0;
    for (const i of members) {
      squares += 1 / edges[i]!.sigmaPx ** 2;
      along += residuals[i]! / edges[i]!.sigmaPx;
    }
    const alpha = (1 - 1 / Math.sqrt(1 + shared[side]! ** 2 * squares)) / squares;
    for (const i of members) out[i]! -= (alpha * along) / edges[i]!.sigmaPx;
  }
  return out;
}

/** Residuals of what is believed about focal length, distortion and tilt. */
function beliefsOf({ logFocal, k1, tiltSd }: PoseFitInput, pose: Pose): [number, number, number, number] {
  const [x, y] = tiltSd === undefined ? [0, 0] : [pose.r[2] / tiltSd, pose.r[5] / tiltSd];
  return [(pose.logF - logFocal.mean) / logFocal.sd, (pose.k1 - k1.mean) / k1.sd, x, y];
}

/** Residuals beyond this many standard deviations count less (P. J. Huber, Ann. Math. Stat. 35, 1964). */
const HUBER = 2.5;

function costOf(input: PoseFitInput, pose: Pose, residuals: Float64Array): number {
  let sum = 0;
  for (const v of residuals) sum += huber(v);
  for (const v of beliefsOf(input, pose)) sum += v * v;
  return sum;
}

const huber = (v: number): number => (Math.abs(v) <= HUBER ? v * v : 2 * HUBER * Math.abs(v) - HUBER * HUBER);

/** Left and right side of the normal equations at a pose. */
function normalMatrix(
  input: PoseFitInput,
  sides: Map<number, number[]>,
  steps: number[],
  pose: Pose,
): { a: Matrix; g: Matrix } {
  const jacobian: Float64Array[] = [];
  for (let k = 0; k < PARAMETERS; k++) {
    const d = new Float64Array(PARAMETERS);
    d[k] = steps[k]!;
    const plus = residualsOf(input, sides, moved(pose, d));
    d[k] = -steps[k]!;
    const minus = residualsOf(input, sides, moved(pose, d));
    for (let i = 0; i < plus.length; i++) plus[i] = (plus[i]! - minus[i]!) / (2 * steps[k]!);
    jacobian.push(plus);
  }
  const r = residualsOf(input, sides, pose);
  const a = Matrix.zeros(PARAMETERS, PARAMETERS);
  const g = Matrix.zeros(PARAMETERS, 1);
  for (let i = 0; i < r.length; i++) {
    const weight = Math.abs(r[i]!) <= HUBER ? 1 : HUBER / Math.abs(r[i]!);
    for (let j = 0; j < PARAMETERS; j++) {
      const jj = jacobian[j]![i]! * weight;
      g.set(j, 0, g.get(j, 0) + jj * r[i]!);
      for (let k = 0; k < PARAMETERS; k++) a.set(j, k, a.get(j, k) + jj * jacobian[k]![i]!);
    }
  }
  const [bf, bk, bx, by] = beliefsOf(input, pose);
  a.set(6, 6, a.get(6, 6) + 1 / input.logFocal.sd ** 2);
  a.set(7, 7, a.get(7, 7) + 1 / input.k1.sd ** 2);
  g.set(6, 0, g.get(6, 0) + bf / input.logFocal.sd);
  g.set(7, 0, g.get(7, 0) + bk / input.k1.sd);
  if (input.tiltSd !== undefined) {
    // how the plane's slopes change as it turns
    const slopes = [
      { value: bx, along: [0, pose.r[8], -pose.r[5]] },
      { value: by, along: [-pose.r[8], 0, pose.r[2]] },
    ];
    for (const { value, along } of slopes)
      for (let j = 0; j < 3; j++) {
        const dj = along[j]! / input.tiltSd;
        g.set(j, 0, g.get(j, 0) + dj * value);
        for (let k = 0; k < 3; k++) a.set(j, k, a.get(j, k) + (dj * along[k]!) / input.tiltSd);
      }
  }
  return { a, g };
}

/**
 * The pose that looks most like a given one: the reference's plane mirrored at the plane across the line of sight
 * to its middle. Both are the same from far away (Necker's reversal).
 *
 * @returns reference mm → undistorted px
 */
export function otherTilt(pose: PoseFit, size: PictureSize, widthMm: number, heightMm: number): Matrix3 {
  const m = pose.faceMmToPx;
  const c = pictureCentre(size);
  const f = pose.focalPx;
  const column = (i: number): Vector => [
    (m[i]! - c.x * m[6 + i]!) / f,
    (m[3 + i]! - c.y * m[6 + i]!) / f,
    m[6 + i]!,
  ];
  const [u, v, t] = [column(0), column(1), column(2)];
  const middle = t.map((x, k) => x + (u[k]! * widthMm) / 2 + (v[k]! * heightMm) / 2) as Vector;
  const length = Math.hypot(...middle);
  const mirrored = (a: Vector): Vector => {
    const along = (a[0] * middle[0] + a[1] * middle[1] + a[2] * middle[2]) / length;
    return a.map((x, k) => x - (2 * along * middle[k]!) / length) as Vector;
  };
  const p = mirrored(u);
  const q = mirrored(v);
  const o = middle.map((x, k) => x - (p[k]! * widthMm) / 2 - (q[k]! * heightMm) / 2) as Vector;
  const row = (k: 0 | 1, centre: number): Vector => [
    f * p[k] + centre * p[2],
    f * q[k] + centre * q[2],
    f * o[k] + centre * o[2],
  ];
  return [...row(0, c.x), ...row(1, c.y), p[2], q[2], o[2]];
}
