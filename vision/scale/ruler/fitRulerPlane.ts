import { CholeskyDecomposition, inverse, Matrix } from 'ml-matrix';
import type { Matrix3, Point } from '../../types.ts';

/** A place on a tick: the tick's line passes through `point`. */
export interface TickSighting {
  /** Which run of ticks (0, or 1 for the scale on the other edge of a ruler). */
  run: number;
  /** Distance along the scale from the run's origin, mm. */
  alongMm: number;
  /** Decoded px. */
  point: Point;
  sigmaPx: number;
}

/** A place on the line where the ticks of a run begin. */
export interface BaseSighting {
  run: number;
  alongMm: number;
  point: Point;
  sigmaPx: number;
}

export interface FitRulerPlaneOptions {
  widthPx: number;
  heightPx: number;
  /** Prior for the 35 mm-equivalent focal length, mm, with its relative standard uncertainty. */
  focal35mm: number;
  focalRelativeUncertainty: number;
  /** Standard uncertainty of the radial distortion k1 about 0 (Brown–Conrady, unit half-diagonal). */
  distortionUncertainty: number;
  /** Standard uncertainty of the tilt about "straight from above", as a tangent. */
  tiltUncertainty: number;
  /** A tape may curve; a ruler may not. */
  mayCurve: boolean;
  /** Where run 0's ticks begin, mm across from the line that keeps its length when a tape is bent. */
  baseAcrossMm: number;
  /** Height of the work's surface above the scale's face, mm: mean and standard uncertainty. */
  workAboveMm: { mean: number; sd: number };
  /** Standard uncertainty of how thick the scale itself is, mm. */
  thicknessUncertaintyMm: number;
  /** Number of runs, 1 or 2. */
  runs: number;
  /** A fit of the same runs with another belief of the lens, or without a curve, to begin at. */
  near?: RulerPlane;
}

export interface RulerPlane {
  /** Decoded px (distortion taken off) → mm; x along the scale from run 0's origin. */
  homographyPxToMm: Matrix3;
  /** Root mean square of the sightings in units of their stated uncertainty. */
  misfit: number;
  /** Sum of the squares that the fit made least, each in units of its variance; beliefs included. */
  cost: number;
  /**
   * −2 ln of what the freedom of the parameters is worth, up to a constant that all fits of the same sightings share
   * (Laplace's approximation of the evidence): each parameter costs what the sightings narrow it down to.
   */
  freedomCharge: number;
  /** How far the focal length was pulled from its prior, in standard uncertainties. */
  focalPull: number;
  radialDistortion: number;
  radialDistortionUncertainty: number;
  tiltDeg: number;
  /**
   * Homography for a change of the parameters (the last is the work's height, mm) and their covariance:
   * for propagation.
   */
  homographyAt(delta: number[]): Matrix3;
  covariance: number[][];
  /** Curvature of the scale's line, 1/mm. */
  curvature: number;
  /** Focal length, px. */
  focalPx: number;
  parameters: number[];
}

/** What is believed of a tape's curvature, 1/mm, and of its change, 1/mm²: it is laid down to lie straight. */
const CURVATURE_SD = 0.002;
const CURVATURE_CHANGE_SD = 0.00001;

const GAUSS_NODES = [-0.8611363115940526, -0.3399810435848563, 0.3399810435848563, 0.8611363115940526];
const GAUSS_WEIGHTS = [0.3478548451374538, 0.6521451548625461, 0.6521451548625461, 0.3478548451374538];

/*
 * Parameters:
 * 0,1 image place of run 0's origin (px); 2 log distance (mm); 3,4 normal's slopes; 5 axis direction;
 * 6 log focal length; 7 k1; then curvature (1/mm) and its change when the scale may curve; then for a
 * second run its offset along and across (mm).
 */
export function fitRulerPlane(
  ticks: TickSighting[],
  bases: BaseSighting[],
  start: { origin: Point; axisAngle: number; mmPerPx: number },
  options: FitRulerPlaneOptions,
): RulerPlane | null {
  const { widthPx, heightPx } = options;
  const cx = (widthPx - 1) / 2;
  const cy = (heightPx - 1) / 2;
  const halfDiagonal = Math.hypot(widthPx, heightPx) / 2;
  const f0 = (options.focal35mm / 43.2666) * 2 * halfDiagonal;
  const curveAt = 8;
  const runAt = options.mayCurve ? 10 : 8;
  const count = runAt + (options.runs > 1 ? 2 : 0);

  const matrixOf = (p: number[], risenMm = 0): number[] => {
    const f = f0 * Math.exp(p[6]!);
    const z = Math.exp(p[2]!);
    const t = [((p[0]! - cx) / f) * z, ((p[1]! - cy) / f) * z, z];
    const norm = Math.hypot(p[3]!, p[4]!, 1);
    const n = [p[3]! / norm, p[4]! / norm, 1 / norm];
    // nearer by what the work's surface rises above the face
    for (let i = 0; i < 3; i++) t[i]! -= risenMm * n[i]!;
    const c = Math.cos(p[5]!);
    const s = Math.sin(p[5]!);
    const d = c * n[0]! + s * n[1]!;
    let e1 = [c - d * n[0]!, s - d * n[1]!, -d * n[2]!];
    const l = Math.hypot(e1[0]!, e1[1]!, e1[2]!);
    e1 = e1.map((v) => v / l);
    const e2 = [
      n[1]! * e1[2]! - n[2]! * e1[1]!,
      n[2]! * e1[0]! - n[0]! * e1[2]!,
      n[0]! * e1[1]! - n[1]! * e1[0]!,
    ];
    return [
      f * e1[0]! + cx * e1[2]!,
      f * e2[0]! + cx * e2[2]!,
      f * t[0]! + cx * t[2]!,
      f * e1[1]! + cy * e1[2]!,
      f * e2[1]! + cy * e2[2]!,
      f * t[1]! + cy * t[2]!,
      e1[2]!,
      e2[2]!,
      t[2]!,
    ];
  };

  const residualCount = ticks.length + bases.length + 4 + (options.mayCurve ? 2 : 0);
  // plain squares first: far from the minimum a robust loss is so flat that the steps stall
  let huber = Infinity;
  const residuals = (p: number[], out: Float64Array): number => {
    const m = matrixOf(p);
    const g = invert3(m);
    const k1 = p[7]!;
    const kappa = options.mayCurve ? p[curveAt]! : 0;
    const kappa2 = options.mayCurve ? p[curveAt + 1]! : 0;
    let i = 0;
    const undistort = (q: Point): [number, number] => {
      const dx = q.x - cx;
      const dy = q.y - cy;
      const k = 1 - (k1 * (dx * dx + dy * dy)) / (halfDiagonal * halfDiagonal);
      return [cx + dx * k, cy + dy * k];
    };
    const place = (run: number, along: number): [number, number, number, number] => {
      const x0 = run ? p[runAt]! : 0;
      const y0 = run ? p[runAt + 1]! : options.baseAcrossMm;
      const s = along + x0;
      if (!options.mayCurve) return [s, y0, 1, 0];
      // heading = κ s + κ' s²/2; its place by Gauss–Legendre quadrature with four nodes
      const h = kappa * s + (kappa2 * s * s) / 2;
      let x = 0;
      let y = 0;
      for (let node = 0; node < 4; node++) {
        const t = (s / 2) * (1 + GAUSS_NODES[node]!);
        const a = kappa * t + (kappa2 * t * t) / 2;
        x += GAUSS_WEIGHTS[node]! * Math.cos(a);
        y += GAUSS_WEIGHTS[node]! * Math.sin(a);
      }
      x *= s / 2;
      y *= s / 2;
      const ch = Math.cos(h);
      const sh = Math.sin(h);
      return [x - y0 * sh, y + y0 * ch, ch, sh];
    };
    let sum = 0;
    const push = (r: number, robust: boolean): void => {
      let v = r;
      if (robust && Math.abs(r) > huber)
        v = Math.sign(r) * Math.sqrt(2 * huber * Math.abs(r) - huber * huber);
      out[i++] = v;
      sum += v * v;
    };
    for (const t of ticks) {
      const [x, y, tx, ty] = place(t.run, t.alongMm);
      // tick line in the plane: T·(P − c) = 0; in the picture it is that line through the inverse
      const a = tx;
      const b = ty;
      const c = -(tx * x + ty * y);
      const lx = a * g[0]! + b * g[3]! + c * g[6]!;
      const ly = a * g[1]! + b * g[4]! + c * g[7]!;
      const lz = a * g[2]! + b * g[5]! + c * g[8]!;
      const [ux, uy] = undistort(t.point);
      push((lx * ux + ly * uy + lz) / Math.hypot(lx, ly) / (UNMODELLED * t.sigmaPx), true);
    }
    for (const base of bases) {
      const [x, y, tx, ty] = place(base.run, base.alongMm);
      const w = m[6]! * x + m[7]! * y + m[8]!;
      const qx = (m[0]! * x + m[1]! * y + m[2]!) / w;
      const qy = (m[3]! * x + m[4]! * y + m[5]!) / w;
      const w2 = m[6]! * (x + tx) + m[7]! * (y + ty) + m[8]!;
      const ex = (m[0]! * (x + tx) + m[1]! * (y + ty) + m[2]!) / w2 - qx;
      const ey = (m[3]! * (x + tx) + m[4]! * (y + ty) + m[5]!) / w2 - qy;
      const [ux, uy] = undistort(base.point);
      push(((ux - qx) * ey - (uy - qy) * ex) / Math.hypot(ex, ey) / (UNMODELLED * base.sigmaPx), true);
    }
    push(p[6]! / options.focalRelativeUncertainty, false);
    push(p[7]! / options.distortionUncertainty, false);
    push(p[3]! / options.tiltUncertainty, false);
    push(p[4]! / options.tiltUncertainty, false);
    if (options.mayCurve) {
      push(kappa / CURVATURE_SD, false);
      push(kappa2 / CURVATURE_CHANGE_SD, false);
    }
    return sum;
  };

  const steps = new Array<number>(count).fill(1e-4);
  steps[0] = steps[1] = 0.05;
  steps[2] = 1e-5;
  steps[7] = 1e-4;
  if (options.mayCurve) {
    steps[curveAt] = 1e-7;
    steps[curveAt + 1] = 1e-9;
  }
  if (options.runs > 1) steps[runAt] = steps[runAt + 1] = 1e-3;

  // what was believed beforehand is as sure as it was, however ill the sightings fit
  const believed: (readonly [parameter: number, sd: number])[] = [
    [3, options.tiltUncertainty],
    [4, options.tiltUncertainty],
    [6, options.focalRelativeUncertainty],
    [7, options.distortionUncertainty],
    ...(options.mayCurve
      ? ([
          [curveAt, CURVATURE_SD],
          [curveAt + 1, CURVATURE_CHANGE_SD],
        ] as const)
      : []),
  ];
  const withoutTrust = (normal: Matrix, factor: number): Matrix => {
    const out = normal.clone().div(factor * factor);
    for (const [i, sd] of believed) out.set(i, i, out.get(i, i) + (1 - factor ** -2) / (sd * sd));
    return out;
  };

  let best: { p: number[]; cost: number; normal: Matrix } | null = null;
  const c = Math.cos(start.axisAngle + Math.PI / 2);
  const s = Math.sin(start.axisAngle + Math.PI / 2);
  const begin = (lean: number): number[] => {
    const p = new Array<number>(count).fill(0);
    p[0] = start.origin.x;
    p[1] = start.origin.y;
    p[2] = Math.log(f0 * start.mmPerPx);
    p[3] = lean * c;
    p[4] = lean * s;
    p[5] = start.axisAngle;
    if (options.runs > 1) {
      const second = bases.filter((b) => b.run === 1);
      const mid = second[second.length >> 1]!;
      const dx = mid.point.x - start.origin.x;
      const dy = mid.point.y - start.origin.y;
      p[runAt] = (dx * Math.cos(p[5]) + dy * Math.sin(p[5])) * start.mmPerPx - mid.alongMm;
      p[runAt + 1] = (-dx * Math.sin(p[5]) + dy * Math.cos(p[5])) * start.mmPerPx;
    }
    return p;
  };
  const beginNear = (near: RulerPlane): number[] => {
    const p = begin(0);
    const known = near.parameters;
    for (let i = 0; i < 8; i++) p[i] = known[i]!;
    // as large in the picture through the other lens
    p[2] = known[2]! + Math.log(f0 / near.focalPx);
    p[6] = 0;
    if (options.runs > 1)
      for (const i of [0, 1]) p[runAt + i] = known[known.length - 2 + i]! + (i ? options.baseAcrossMm : 0);
    return p;
  };
  const beginnings = options.near ? [beginNear(options.near)] : [0, 0.3, -0.3].map(begin);
  for (const [attempt, p] of beginnings.entries()) {
    huber = Infinity;
    const rough = minimise(p, residuals, residualCount, steps);
    if (!rough) continue;
    huber = 2.5 / UNMODELLED;
    const result = minimise(rough.p, residuals, residualCount, steps);
    if (result && (!best || result.cost < best.cost)) best = result;
    if (best && attempt === 0 && best.cost / residualCount < 1.5 / UNMODELLED ** 2) break;
  }
  if (!best) return null;
  const { p, normal } = best;
  const free = ticks.length + bases.length;
  const misfit = UNMODELLED * Math.sqrt(best.cost / Math.max(1, free - count + 4));
  const information = withoutTrust(normal, Math.max(1, misfit));
  let covariance: number[][];
  try {
    covariance = inverse(information).to2DArray();
  } catch {
    return null;
  }
  const h = (q: number[], risenMm: number): Matrix3 => {
    const g = invert3(matrixOf(q, risenMm));
    return g.map((v) => v / g[8]!) as Matrix3;
  };
  // the work's height is known apart from the fit
  const { mean } = options.workAboveMm;
  const sd = Math.hypot(options.workAboveMm.sd, options.thicknessUncertaintyMm);
  return {
    homographyPxToMm: h(p, mean),
    misfit,
    cost: best.cost,
    freedomCharge: logDeterminant(information) + believed.reduce((sum, [, sd]) => sum + 2 * Math.log(sd), 0),
    focalPull: p[6]! / options.focalRelativeUncertainty,
    radialDistortion: p[7]!,
    radialDistortionUncertainty: Math.sqrt(covariance[7]![7]!),
    tiltDeg: (Math.atan(Math.hypot(p[3]!, p[4]!)) * 180) / Math.PI,
    homographyAt: (delta) =>
      h(
        p.map((v, i) => v + delta[i]!),
        mean + delta[count]!,
      ),
    covariance: withHeight(covariance, sd),
    curvature: options.mayCurve ? p[curveAt]! : 0,
    focalPx: f0 * Math.exp(p[6]!),
    parameters: p,
  };
}

/**
 * What sightings share (a printed tick's own place, the lens beyond its first term, blur that leans) does not
 * average out; measured against drawn scenes it multiplies the uncertainty that the sightings alone give.
 */
export const UNMODELLED = 2.5;

/** Natural logarithm of the determinant of a symmetric matrix; NaN where it is not positive definite. */
function logDeterminant(matrix: Matrix): number {
  const cholesky = new CholeskyDecomposition(matrix);
  if (!cholesky.isPositiveDefinite()) return NaN;
  return 2 * cholesky.lowerTriangularMatrix.diagonal().reduce((sum, v) => sum + Math.log(v), 0);
}

/** The fit's covariance, with the height of the work as one more, independent quantity. */
function withHeight(covariance: number[][], sd: number): number[][] {
  const n = covariance.length;
  return [...covariance.map((row) => [...row, 0]), [...new Array<number>(n).fill(0), sd * sd]];
}

/** Levenberg–Marquardt with differences for derivatives. Returns the normal matrix at the minimum. */
function minimise(
  start: number[],
  residuals: (p: number[], out: Float64Array) => number,
  count: number,
  steps: number[],
): { p: number[]; cost: number; normal: Matrix } | null {
  const n = start.length;
  let p = [...start];
  const r = new Float64Array(count);
  const shifted = new Float64Array(count);
  const trial = new Float64Array(count);
  let cost = residuals(p, r);
  if (!Number.isFinite(cost)) return null;
  let lambda = 1e-3;
  const jacobian = Array.from({ length: n }, () => new Float64Array(count));
  const normal = Matrix.zeros(n, n);
  for (let round = 0; round < 40; round++) {
    for (let j = 0; j < n; j++) {
      const q = [...p];
      q[j]! += steps[j]!;
      residuals(q, shifted);
      const column = jacobian[j]!;
      for (let i = 0; i < count; i++) column[i] = (shifted[i]! - r[i]!) / steps[j]!;
    }
    const gradient = new Float64Array(n);
    for (let a = 0; a < n; a++) {
      const ja = jacobian[a]!;
      for (let b = a; b < n; b++) {
        const jb = jacobian[b]!;
        let s = 0;
        for (let i = 0; i < count; i++) s += ja[i]! * jb[i]!;
        normal.set(a, b, s);
        normal.set(b, a, s);
      }
      let s = 0;
      for (let i = 0; i < count; i++) s += ja[i]! * r[i]!;
      gradient[a] = s;
    }
    let improved = false;
    let gain = 0;
    for (let attempt = 0; attempt < 8; attempt++) {
      // scaled by the diagonal: parameters differ in unit by many powers of ten
      const a = Array.from({ length: n }, (_, i) => {
        const row = new Float64Array(n + 1);
        for (let j = 0; j < n; j++) {
          const d = Math.sqrt(normal.get(i, i) * normal.get(j, j)) || 1;
          row[j] = normal.get(i, j) / d + (i === j ? lambda : 0);
        }
        row[n] = -gradient[i]! / (Math.sqrt(normal.get(i, i)) || 1);
        return row;
      });
      const x = gauss(a);
      const q = p.map((v, i) => v + x[i]! / (Math.sqrt(normal.get(i, i)) || 1));
      const next = residuals(q, trial);
      if (Number.isFinite(next) && next < cost) {
        gain = (cost - next) / cost;
        p = q;
        cost = next;
        r.set(trial);
        lambda = Math.max(1e-9, lambda / 8);
        improved = true;
        break;
      }
      lambda = Math.min(1e6, lambda * 6);
    }
    if (!improved || gain < 1e-7) break;
  }
  return { p, cost, normal };
}

function gauss(a: Float64Array[]): Float64Array {
  const n = a.length;
  for (let p = 0; p < n; p++) {
    let best = p;
    for (let r = p + 1; r < n; r++) if (Math.abs(a[r]![p]!) > Math.abs(a[best]![p]!)) best = r;
    [a[p], a[best]] = [a[best]!, a[p]!];
    const pivot = a[p]![p]! || 1e-300;
    for (let r = p + 1; r < n; r++) {
      const k = a[r]![p]! / pivot;
      if (k !== 0) for (let q = p; q <= n; q++) a[r]![q]! -= k * a[p]![q]!;
    }
  }
  const x = new Float64Array(n);
  for (let i = n - 1; i >= 0; i--) {
    let s = a[i]![n]!;
    for (let j = i + 1; j < n; j++) s -= a[i]![j]! * x[j]!;
    x[i] = s / (a[i]![i]! || 1e-300);
  }
  return x;
}

export function invert3(m: number[]): number[] {
  const [a, b, c, d, e, f, g, h, i] = m as Matrix3;
  const A = e * i - f * h;
  const B = f * g - d * i;
  const C = d * h - e * g;
  const det = a * A + b * B + c * C;
  return [
    A / det,
    (c * h - b * i) / det,
    (b * f - c * e) / det,
    B / det,
    (a * i - c * g) / det,
    (c * d - a * f) / det,
    C / det,
    (b * g - a * h) / det,
    (a * e - b * d) / det,
  ];
}
