import type { GrayImage, Point } from '../../types.ts';
import type { FollowedBand } from './followBand.ts';
import { sampleLine } from './sampleLine.ts';

/**
 * A band of ticks laid out straight: column along the scale, row across it; ticks stand upright.
 * `along` and `across` are in pixels of the level the band was found on.
 */
export interface StraightBand {
  /** Rows × columns, NaN outside the picture. */
  data: Float32Array;
  columns: number;
  rows: number;
  /** Columns per px along. Rows are 1 px apart. */
  columnsPerPx: number;
  /** Coordinates of column 0 and row 0. */
  alongStart: number;
  acrossStart: number;
  /** Rough pitch, px, at a coordinate along the band. */
  pitchAt(along: number): number;
  /** Level pixel of a place on the band. */
  toPoint(along: number, across: number): Point;
  /** Direction of the ticks against the normal of the band's chord, radians. */
  leanAt(along: number): number;
  /** Greatest departure of the band's middle line from a straight line, px. */
  bowPx: number;
}

/** Fits y = c0 + c1 x + c2 x² + … by least squares with Tukey's biweight, on x scaled to −1…1. */
export function fitPolynomial(x: number[], y: number[], degree: number): (at: number) => number {
  const low = Math.min(...x);
  const high = Math.max(...x);
  const middle = (low + high) / 2;
  const half = Math.max(1e-9, (high - low) / 2);
  const n = degree + 1;
  let weights = x.map(() => 1);
  let c: number[] = [];
  for (let round = 0; round < 4; round++) {
    const a = Array.from({ length: n }, () => new Float64Array(n + 1));
    for (let i = 0; i < x.length; i++) {
      const t = (x[i]! - middle) / half;
      const powers = [1];
      for (let d = 1; d < n; d++) powers.push(powers[d - 1]! * t);
      for (let r = 0; r < n; r++) {
        for (let q = 0; q < n; q++) a[r]![q]! += weights[i]! * powers[r]! * powers[q]!;
        a[r]![n]! += weights[i]! * powers[r]! * y[i]!;
      }
    }
    c = solve(a);
    const value = (at: number): number => {
      const t = (at - middle) / half;
      let s = 0;
      for (let d = n - 1; d >= 0; d--) s = s * t + c[d]!;
      return s;
    };
    const residuals = x.map((v, i) => Math.abs(y[i]! - value(v)));
    const sorted = [...residuals].sort((p, q) => p - q);
    const scale = Math.max(1e-6, 6 * sorted[sorted.length >> 1]!);
    weights = residuals.map((r) => (r < scale ? (1 - (r / scale) ** 2) ** 2 : 0));
    if (weights.filter((w) => w > 0).length <= n) break;
  }
  return (at) => {
    const t = (at - middle) / half;
    let s = 0;
    for (let d = n - 1; d >= 0; d--) s = s * t + c[d]!;
    return s;
  };
}

/** Gaussian elimination with partial pivoting on an n × (n + 1) system; tiny systems only. */
function solve(a: Float64Array[]): number[] {
  const n = a.length;
  for (let p = 0; p < n; p++) {
    let best = p;
    for (let r = p + 1; r < n; r++) if (Math.abs(a[r]![p]!) > Math.abs(a[best]![p]!)) best = r;
    [a[p], a[best]] = [a[best]!, a[p]!];
    const pivot = a[p]![p]!;
    if (Math.abs(pivot) < 1e-12) continue;
    for (let r = 0; r < n; r++) {
      if (r === p) continue;
      const k = a[r]![p]! / pivot;
      for (let q = p; q <= n; q++) a[r]![q]! -= k * a[p]![q]!;
    }
  }
  return a.map((row, i) => (Math.abs(row[i]!) < 1e-12 ? 0 : row[n]! / row[i]!));
}

/** Lays a followed band out straight, `reachPitches` pitches deep to both sides. */
export function straightenBand(
  image: GrayImage,
  band: FollowedBand,
  reachPitches: number,
  better?: { lean(along: number): number; shift(along: number): number },
): StraightBand {
  const s = band.stretches;
  const a = s[0]!;
  const b = s[s.length - 1]!;
  const chord = Math.atan2(b.y - a.y, b.x - a.x);
  const cx = Math.cos(chord);
  const cy = Math.sin(chord);
  const along = s.map((p) => (p.x - a.x) * cx + (p.y - a.y) * cy);
  const across = s.map((p) => -(p.x - a.x) * cy + (p.y - a.y) * cx);
  const degree = s.length >= 9 ? 3 : s.length >= 5 ? 2 : 1;
  const line = fitPolynomial(along, across, degree);
  // direction of the ticks, against the chord's normal
  const normal = chord + Math.PI / 2;
  const lean =
    better?.lean ??
    fitPolynomial(
      along,
      s.map((p) => {
        let d = p.tickAngle - normal;
        while (d > Math.PI / 2) d -= Math.PI;
        while (d < -Math.PI / 2) d += Math.PI;
        return d;
      }),
      s.length >= 6 ? 2 : s.length >= 3 ? 1 : 0,
    );
  const pitch = fitPolynomial(
    along,
    s.map((p, i) => {
      // pitches were measured along each stretch's own axis
      const slope = i > 0 && i < s.length - 1 ? (line(along[i]! + 1) - line(along[i]! - 1)) / 2 : 0;
      return p.pitchPx / Math.sqrt(1 + slope * slope);
    }),
    s.length >= 6 ? 2 : s.length >= 3 ? 1 : 0,
  );
  const pitches = s.map((p) => p.pitchPx);
  const median = [...pitches].sort((p, q) => p - q)[pitches.length >> 1]!;
  const margin = 0.5 * (along.length > 1 ? along[1]! - along[0]! : 40) + 2 * median;
  const alongStart = along[0]! - margin;
  const alongEnd = along[along.length - 1]! + margin;
  const columnsPerPx = Math.max(1, Math.min(3, 6 / median));
  const columns = Math.max(8, Math.round((alongEnd - alongStart) * columnsPerPx));
  const reach = Math.round(Math.min(170, reachPitches * median));
  const rows = 2 * reach + 1;
  const data = new Float32Array(rows * columns);
  const column = new Float32Array(rows);
  const toPoint = (u: number, v: number): Point => {
    const y = line(u);
    const l = lean(u);
    const w = better ? v + better.shift(u) : v;
    const du = u - w * Math.sin(l);
    const dv = y + w * Math.cos(l);
    return { x: a.x + du * cx - dv * cy, y: a.y + du * cy + dv * cx };
  };
  for (let i = 0; i < columns; i++) {
    const u = alongStart + i / columnsPerPx;
    const from = toPoint(u, -reach);
    const to = toPoint(u, reach);
    const dx = (to.x - from.x) / (rows - 1);
    const dy = (to.y - from.y) / (rows - 1);
    sampleLine(image, from.x, from.y, dx, dy, rows, column);
    for (let r = 0; r < rows; r++) data[r * columns + i] = column[r]!;
  }
  let bowPx = 0;
  const straight = fitPolynomial(along, across, 1);
  for (const u of along) bowPx = Math.max(bowPx, Math.abs(line(u) - straight(u)));
  return {
    data,
    columns,
    rows,
    columnsPerPx,
    alongStart,
    acrossStart: -reach,
    pitchAt: pitch,
    toPoint,
    leanAt: lean,
    bowPx,
  };
}
