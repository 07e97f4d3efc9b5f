import type { Matrix3, Point } from '../types.ts';

/** Plane geometry shared by the finders of reference objects. Lengths are in whatever unit goes in. */

export type Quad = [Point, Point, Point, Point];

/** A line as n · p = c with unit normal n. */
export interface Line {
  nx: number;
  ny: number;
  c: number;
}

export function distance(a: Point, b: Point): number {
  return Math.hypot(a.x - b.x, a.y - b.y);
}

export function mix(a: Point, b: Point, t: number): Point {
  return { x: a.x + (b.x - a.x) * t, y: a.y + (b.y - a.y) * t };
}

export function lineThrough(a: Point, b: Point): Line {
  const length = distance(a, b);
  const nx = -(b.y - a.y) / length;
  const ny = (b.x - a.x) / length;
  return { nx, ny, c: nx * a.x + ny * a.y };
}

/** Where two lines meet; null when they are parallel to within rounding. */
export function intersect(a: Line, b: Line): Point | null {
  const det = a.nx * b.ny - a.ny * b.nx;
  if (Math.abs(det) < 1e-9) return null;
  return { x: (a.c * b.ny - b.c * a.ny) / det, y: (a.nx * b.c - b.nx * a.c) / det };
}

/** Signed area; positive when the points go clockwise on screen (y down). */
export function signedArea(points: readonly Point[]): number {
  let twice = 0;
  points.forEach((p, i) => {
    const q = points[(i + 1) % points.length]!;
    twice += p.x * q.y - q.x * p.y;
  });
  return twice / 2;
}

export function centroid(points: readonly Point[]): Point {
  const sum = points.reduce((s, p) => ({ x: s.x + p.x, y: s.y + p.y }), { x: 0, y: 0 });
  return { x: sum.x / points.length, y: sum.y / points.length };
}

export function isConvex(quad: Quad): boolean {
  let sign = 0;
  for (let i = 0; i < 4; i++) {
    const a = quad[i]!;
    const b = quad[(i + 1) % 4]!;
    const c = quad[(i + 2) % 4]!;
    const cross = (b.x - a.x) * (c.y - b.y) - (b.y - a.y) * (c.x - b.x);
    if (cross === 0 || (sign !== 0 && Math.sign(cross) !== sign)) return false;
    sign = Math.sign(cross);
  }
  return true;
}

export function contains(polygon: readonly Point[], p: Point): boolean {
  let inside = false;
  for (let i = 0, j = polygon.length - 1; i < polygon.length; j = i++) {
    const a = polygon[i]!;
    const b = polygon[j]!;
    if (a.y > p.y !== b.y > p.y && p.x < ((b.x - a.x) * (p.y - a.y)) / (b.y - a.y) + a.x) inside = !inside;
  }
  return inside;
}

/** Applies a homography. */
export function applyHomography(h: Matrix3, p: Point): Point {
  const w = h[6] * p.x + h[7] * p.y + h[8];
  return { x: (h[0] * p.x + h[1] * p.y + h[2]) / w, y: (h[3] * p.x + h[4] * p.y + h[5]) / w };
}

/** Scales so that the last entry is 1, the form in which homographies are handed on. */
export function normalised(h: Matrix3): Matrix3 {
  return h.map((v) => v / h[8]) as Matrix3;
}

export function multiply(a: Matrix3, b: Matrix3): Matrix3 {
  const out: number[] = [];
  for (let r = 0; r < 3; r++) {
    for (let c = 0; c < 3; c++) {
      out.push(a[3 * r]! * b[c]! + a[3 * r + 1]! * b[3 + c]! + a[3 * r + 2]! * b[6 + c]!);
    }
  }
  return out as Matrix3;
}

/** Inverse up to scale (the adjugate); homographies need no more. */
export function inverted(h: Matrix3): Matrix3 {
  const [a, b, c, d, e, f, g, i, k] = h;
  return [
    e * k - f * i,
    c * i - b * k,
    b * f - c * e,
    f * g - d * k,
    a * k - c * g,
    c * d - a * f,
    d * i - e * g,
    b * g - a * i,
    a * e - b * d,
  ];
}

/** Homography that takes the unit square (0,0) (1,0) (1,1) (0,1) to a quadrilateral (P. Heckbert, 1989). */
export function unitSquareTo(quad: Quad): Matrix3 {
  const [p0, p1, p2, p3] = quad;
  const dx1 = p1.x - p2.x;
  const dx2 = p3.x - p2.x;
  const sx = p0.x - p1.x + p2.x - p3.x;
  const dy1 = p1.y - p2.y;
  const dy2 = p3.y - p2.y;
  const sy = p0.y - p1.y + p2.y - p3.y;
  const det = dx1 * dy2 - dx2 * dy1;
  const g = (sx * dy2 - dx2 * sy) / det;
  const h = (dx1 * sy - sx * dy1) / det;
  return [
    p1.x - p0.x + g * p1.x,
    p3.x - p0.x + h * p3.x,
    p0.x,
    p1.y - p0.y + g * p1.y,
    p3.y - p0.y + h * p3.y,
    p0.y,
    g,
    h,
    1,
  ];
}

/** Homography that takes the rectangle (0,0)…(width, height), clockwise from its origin, to a quadrilateral. */
export function rectangleTo(quad: Quad, width: number, height: number): Matrix3 {
  return multiply(unitSquareTo(quad), [1 / width, 0, 0, 0, 1 / height, 0, 0, 0, 1]);
}

/**
 * Area scale of a homography at a point, square-rooted: output units per input unit, the geometric mean of
 * both axes.
 */
export function localScale(h: Matrix3, p: Point): number {
  const w = h[6] * p.x + h[7] * p.y + h[8];
  const det =
    h[0] * (h[4] * h[8] - h[5] * h[7]) -
    h[1] * (h[3] * h[8] - h[5] * h[6]) +
    h[2] * (h[3] * h[7] - h[4] * h[6]);
  return Math.sqrt(Math.abs(det / (w * w * w)));
}

export interface ImpliedRectangle {
  /** width ÷ height of the rectangle that the quadrilateral would be a picture of. */
  aspect: number;
  /** |cosine| of the angle between its sides; 0 for a true rectangle. */
  skew: number;
  tiltDeg: number;
}

/**
 * The rectangle of which a quadrilateral would be the picture, for a camera of given focal length that looks
 * at the middle of the picture. Width runs from corner 0 to corner 1.
 */
export function impliedRectangle(quad: Quad, focalPx: number, principalPx: Point): ImpliedRectangle {
  const h = unitSquareTo(quad);
  const column = (i: 0 | 1): [number, number, number] => {
    const w = h[(6 + i) as 6 | 7];
    return [(h[i]! - principalPx.x * w) / focalPx, (h[(3 + i) as 3 | 4]! - principalPx.y * w) / focalPx, w];
  };
  const u = column(0);
  const v = column(1);
  const nu = Math.hypot(...u);
  const nv = Math.hypot(...v);
  const skew = Math.abs(u[0] * v[0] + u[1] * v[1] + u[2] * v[2]) / (nu * nv);
  const normal = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
  const cosTilt = Math.abs(normal[2]!) / Math.hypot(normal[0]!, normal[1]!, normal[2]!);
  return { aspect: nu / nv, skew, tiltDeg: (Math.acos(Math.min(1, cosTilt)) * 180) / Math.PI };
}
