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
  const tickPlaces = new PlacesOnScale(ticks, options);
  const basePlaces = new PlacesOnScale(bases, options);
  const residuals = (p: number[], out: Float64Array): number => {
    const m = matrixOf(p);
    const line: ScaleLine = {
      kappa: options.mayCurve ? p[curveAt]! : 0,
      kappa2: options.mayCurve ? p[curveAt + 1]! : 0,
      secondAlongMm: options.runs > 1 ? p[runAt]! : 0,
      secondAcrossMm: options.runs > 1 ? p[runAt + 1]! : 0,
    };
    const lens: Lens = { cx, cy, k1: p[7]! / (halfDiagonal * halfDiagonal) };
    let sum = tickResiduals(ticks, tickPlaces.at(line), invert3(m), lens, huber, out);
    sum += baseResiduals(bases, basePlaces.at(line), m, lens, huber, out, ticks.length);
    let i = ticks.length + bases.length;
    const push = (v: number): void => {
      out[i++] = v;
      sum += v * v;
    };
    push(p[6]! / options.focalRelativeUncertainty);
    push(p[7]! / options.distortionUncertainty);
    push(p[3]! / options.tiltUncertainty);
    push(p[4]! / options.tiltUncertainty);
    if (options.mayCurve) {
      push(line.kappa / CURVATURE_SD);
      push(line.kappa2 / CURVATURE_CHANGE_SD);
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

/** Picture centre, px, and k1 ÷ (half a diagonal)², 1/px². */
interface Lens {
  cx: number;
  cy: number;
  k1: number;
}

/** How the scale's line bends (1/mm, 1/mm²), and where the second run lies against the first, mm. */
interface ScaleLine {
  kappa: number;
  kappa2: number;
  secondAlongMm: number;
  secondAcrossMm: number;
}

/**
 * Where sightings lie in the scale's plane, and the scale's direction there: x, y (mm), cosine and sine for each. Worked
 * out again only when the line changes, which it does for four parameters of twelve.
 */
class PlacesOnScale {
  private readonly places: Float64Array;
  private last: ScaleLine | null = null;

  constructor(
    private readonly sightings: readonly { run: number; alongMm: number }[],
    private readonly options: Pick<FitRulerPlaneOptions, 'mayCurve' | 'baseAcrossMm'>,
  ) {
    this.places = new Float64Array(4 * sightings.length);
  }

  at(line: ScaleLine): Float64Array {
    const { last } = this;
    const isSame =
      last !== null &&
      last.kappa === line.kappa &&
      last.kappa2 === line.kappa2 &&
      last.secondAlongMm === line.secondAlongMm &&
      last.secondAcrossMm === line.secondAcrossMm;
    if (!isSame) placesOnLine(this.sightings, line, this.options, this.places);
    this.last = line;
    return this.places;
  }
}

// The loops below stand outside of what calls them, so that they stay compiled from one photo to the next.

function placesOnLine(
  sightings: readonly { run: number; alongMm: number }[],
  { kappa, kappa2, secondAlongMm, secondAcrossMm }: ScaleLine,
  { mayCurve, baseAcrossMm }: Pick<FitRulerPlaneOptions, 'mayCurve' | 'baseAcrossMm'>,
  out: Float64Array,
): void {
  for (let i = 0, o = 0; i < sightings.length; i++, o += 4) {
    const { run, alongMm } = sightings[i]!;
    const s = alongMm + (run ? secondAlongMm : 0);
    const y0 = run ? secondAcrossMm : baseAcrossMm;
    if (!mayCurve) {
      out[o] = s;
      out[o + 1] = y0;
      out[o + 2] = 1;
      out[o + 3] = 0;
      continue;
    }
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
    out[o] = x - y0 * sh;
    out[o + 1] = y + y0 * ch;
    out[o + 2] = ch;
    out[o + 3] = sh;
  }
}

/** A residual in standard uncertainties, drawn in where it is far off (P. J. Huber, Ann. Math. Stat. 35, 1964). */
const drawnIn = (r: number, huber: number): number =>
  Math.abs(r) > huber ? Math.sign(r) * Math.sqrt(2 * huber * Math.abs(r) - huber * huber) : r;

/** Distances of the ticks' sightings from their lines; g takes the picture to the plane. Returns the sum of squares. */
function tickResiduals(
  ticks: readonly TickSighting[],
  places: Float64Array,
  g: readonly number[],
  { cx, cy, k1 }: Lens,
  huber: number,
  out: Float64Array,
): number {
  const [g0, g1, g2, g3, g4, g5, g6, g7, g8] = g as Matrix3;
  let sum = 0;
  for (let i = 0, o = 0; i < ticks.length; i++, o += 4) {
    const { point, sigmaPx } = ticks[i]!;
    // tick line in the plane: T·(P − c) = 0; in the picture it is that line through the inverse
    const a = places[o + 2]!;
    const b = places[o + 3]!;
    const c = -(a * places[o]! + b * places[o + 1]!);
    const lx = a * g0 + b * g3 + c * g6;
    const ly = a * g1 + b * g4 + c * g7;
    const lz = a * g2 + b * g5 + c * g8;
    const dx = point.x - cx;
    const dy = point.y - cy;
    const k = 1 - k1 * (dx * dx + dy * dy);
    const r = (lx * (cx + dx * k) + ly * (cy + dy * k) + lz) / Math.sqrt(lx * lx + ly * ly);
    const v = drawnIn(r / (UNMODELLED * sigmaPx), huber);
    out[i] = v;
    sum += v * v;
  }
  return sum;
}

/** Distances of places on the line where ticks begin from that line; m takes the plane to the picture. */
function baseResiduals(
  bases: readonly BaseSighting[],
  places: Float64Array,
  m: readonly number[],
  { cx, cy, k1 }: Lens,
  huber: number,
  out: Float64Array,
  from: number,
): number {
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = m as Matrix3;
  let sum = 0;
  for (let i = 0, o = 0; i < bases.length; i++, o += 4) {
    const { point, sigmaPx } = bases[i]!;
    const x = places[o]!;
    const y = places[o + 1]!;
    const x1 = x + places[o + 2]!;
    const y1 = y + places[o + 3]!;
    const w = m6 * x + m7 * y + m8;
    const qx = (m0 * x + m1 * y + m2) / w;
    const qy = (m3 * x + m4 * y + m5) / w;
    const w1 = m6 * x1 + m7 * y1 + m8;
    const ex = (m0 * x1 + m1 * y1 + m2) / w1 - qx;
    const ey = (m3 * x1 + m4 * y1 + m5) / w1 - qy;
    const dx = point.x - cx;
    const dy = point.y - cy;
    const k = 1 - k1 * (dx * dx + dy * dy);
    const r = ((cx + dx * k - qx) * ey - (cy + dy * k - qy) * ex) / Math.sqrt(ex * ex + ey * ey);
    const v = drawnIn(r / (UNMODELLED * sigmaPx), huber);
    out[from + i] = v;
    sum += v * v;
  }
  return sum;
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
