import { linearRegression } from 'simple-statistics';
import type { Point } from '../types.ts';
import { signedArea, type Quad } from '../scale/geometry.ts';

/** Sizes of a closed outline, in its own unit (mm, as used here), without uncertainties. */
export interface OutlineSizes {
  /** Top left, top right, bottom right, bottom left. */
  corners: Quad;
  widths: { at: number; length: number; ends: [Point, Point] }[];
  heights: { at: number; length: number; ends: [Point, Point] }[];
  area: number;
  /** At the corners, in their order, degrees. */
  anglesDeg: number[];
  /** Slope of the width over the height: width at the top less that at the bottom. */
  topMinusBottom: number;
  /** Standard deviation of the edge points about a parabola through each side: top, right, bottom, left; `wave` of all. */
  sideWaves: [number, number, number, number];
  wave: number;
}

export interface OutlineSizesOptions {
  /** Roughly to the right along the width; default: the outline's own sides, the more level pair. */
  across?: Point;
  /** Where sizes are taken, shares of the way. */
  places?: readonly number[];
}

/** Near the ends a chord meets corners instead of sides. */
export const PLACES = [0.08, 0.22, 0.36, 0.5, 0.64, 0.78, 0.92] as const;

/**
 * Width at several heights and height at several widths of a piece that is more or less a rectangle, its area
 * and the angles of its corners.
 *
 * A width is a chord along the direction of bottom and top edge, a height one along the direction of the sides,
 * counted square to the first, as a maker lays her tape. y runs down, as in a picture.
 *
 * @throws RangeError for an outline that is no four-sided piece
 */
export function outlineSizes(outline: Point[], options: OutlineSizesOptions = {}): OutlineSizes {
  const area = Math.abs(signedArea(outline));
  if (outline.length < 8 || !(area > 0)) throw new RangeError('An outline needs an inside.');
  const quad = cornersOf(outline, options.across ?? null);
  const sides = sidesBetween(outline, quad);
  if (sides.some((side) => side.length < 3)) throw new RangeError('The outline has fewer than four sides.');
  const [top, right, bottom, left] = sides.map((side) => directionOf(inner(side)));
  // top runs to the right, bottom to the left, right down, left up.
  const across = unit({ x: top!.x - bottom!.x, y: top!.y - bottom!.y });
  const down = unit({ x: right!.x - left!.x, y: right!.y - left!.y });
  const square = Math.abs(across.x * down.y - across.y * down.x);
  const level = (p: Point) => (p.x * across.y - p.y * across.x) / -square; // along `down`
  const along = (p: Point) => (p.x * down.y - p.y * down.x) / square; // along `across`
  const mid = (a: Point, b: Point, t: number): Point => ({
    x: a.x + t * (b.x - a.x),
    y: a.y + t * (b.y - a.y),
  });
  const lineOf = (side: Point[]) => fitted(inner(side));
  const ends = {
    bottom: lineOf(sides[2]!),
    top: lineOf(sides[0]!),
    left: lineOf(sides[3]!),
    right: lineOf(sides[1]!),
  };
  const low = level(ends.bottom);
  const high = level(ends.top);
  const from = along(ends.left);
  const to = along(ends.right);
  const point = (a: number, l: number): Point => ({
    x: a * across.x + l * down.x,
    y: a * across.y + l * down.y,
  });
  const places = options.places ?? PLACES;
  const chord = (through: Point, direction: Point): { length: number; ends: [Point, Point] } | null => {
    const cut = outline
      .flatMap((p, i) => {
        const q = outline[(i + 1) % outline.length]!;
        const side = (r: Point) => (r.x - through.x) * -direction.y + (r.y - through.y) * direction.x;
        const a = side(p);
        const b = side(q);
        if (a === b || a > 0 === b > 0) return [];
        const hit = mid(p, q, a / (a - b));
        return [{ hit, t: (hit.x - through.x) * direction.x + (hit.y - through.y) * direction.y }];
      })
      .sort((a, b) => a.t - b.t);
    if (cut.length < 2) return null;
    const first = cut[0]!;
    const last = cut[cut.length - 1]!;
    return { length: last.t - first.t, ends: [first.hit, last.hit] };
  };
  const widths = places.flatMap((at) => {
    const found = chord(point((from + to) / 2, low + at * (high - low)), across);
    return found ? [{ at, ...found }] : [];
  });
  const heights = places.flatMap((at) => {
    const found = chord(point(from + at * (to - from), (low + high) / 2), down);
    return found
      ? [{ at, length: found.length * square, ends: [found.ends[1], found.ends[0]] as [Point, Point] }]
      : [];
  });
  if (widths.length < 3 || heights.length < 3) throw new RangeError('The outline has fewer than four sides.');
  const sideWaves = sides.map((side) => Math.sqrt(waveOf(inner(side)))) as OutlineSizes['sideWaves'];
  const { m: slope } = linearRegression(widths.map(({ at, length }) => [at, length]));
  return {
    corners: quad,
    widths,
    heights,
    area,
    anglesDeg: quad.map((_, i) => cornerAngle(sides[(i + 3) % 4]!, sides[i]!)),
    topMinusBottom: slope,
    sideWaves,
    wave: Math.hypot(...sideWaves) / 2,
  };
}

const unit = (v: Point): Point => {
  const length = Math.hypot(v.x, v.y) || 1;
  return { x: v.x / length, y: v.y / length };
};

/** The four corners: the points farthest out along the diagonals of the outline's own frame. */
function cornersOf(outline: Point[], across: Point | null): Quad {
  let right = across ? unit(across) : levelDirection(outline);
  let corners: Quad | null = null;
  for (let round = 0; round < 3; round++) {
    const down = { x: -right.y, y: right.x };
    const u = outline.map((p) => p.x * right.x + p.y * right.y);
    const v = outline.map((p) => p.x * down.x + p.y * down.y);
    const range = (values: number[]) => {
      const sorted = [...values].sort((a, b) => a - b);
      const low = sorted[Math.floor(0.02 * sorted.length)]!;
      const high = sorted[Math.ceil(0.98 * sorted.length) - 1]!;
      return { middle: (low + high) / 2, half: (high - low) / 2 || 1 };
    };
    const ru = range(u);
    const rv = range(v);
    const farthest = (a: number, b: number): Point => {
      let best = -Infinity;
      let at = 0;
      for (let i = 0; i < outline.length; i++) {
        const value = (a * (u[i]! - ru.middle)) / ru.half + (b * (v[i]! - rv.middle)) / rv.half;
        if (value > best) {
          best = value;
          at = i;
        }
      }
      return outline[at]!;
    };
    corners = [farthest(-1, -1), farthest(1, -1), farthest(1, 1), farthest(-1, 1)];
    const [tl, tr, br, bl] = corners;
    right = unit({ x: tr.x - tl.x + br.x - bl.x, y: tr.y - tl.y + br.y - bl.y });
  }
  return corners!;
}

/** The direction of the pair of sides that lies more level: the outline's step directions, folded to a quarter turn. */
function levelDirection(outline: Point[]): Point {
  let c = 0;
  let s = 0;
  const n = outline.length;
  const stride = Math.max(1, Math.round(n / 60));
  for (let i = 0; i < n; i++) {
    const p = outline[i]!;
    const q = outline[(i + stride) % n]!;
    const length = Math.hypot(q.x - p.x, q.y - p.y);
    const angle = Math.atan2(q.y - p.y, q.x - p.x);
    c += length * Math.cos(4 * angle);
    s += length * Math.sin(4 * angle);
  }
  const angle = Math.atan2(s, c) / 4; // within ±45° of level
  return { x: Math.cos(angle), y: Math.sin(angle) };
}

/** Outline points of the top (left to right), the right (down), the bottom (to the left) and the left side (up). */
function sidesBetween(outline: Point[], quad: Quad): Point[][] {
  const clockwise = signedArea(outline) > 0 ? outline : [...outline].reverse();
  const at = quad.map((p) => clockwise.indexOf(p));
  const n = clockwise.length;
  return [0, 1, 2, 3].map((k) => {
    const start = at[k]!;
    const end = at[(k + 1) % 4]!;
    const side: Point[] = [];
    for (let i = start; ; i = (i + 1) % n) {
      side.push(clockwise[i]!);
      if (i === end || side.length > n) break;
    }
    return side;
  });
}

/** A side without its ends, where it turns into the next. */
function inner(side: Point[]): Point[] {
  const cut = Math.floor(0.08 * side.length);
  return side.length - 2 * cut >= 3 ? side.slice(cut, side.length - cut) : side;
}

/** Direction of a side by total least squares, from its first point to its last. */
function directionOf(side: Point[]): Point {
  const m = fitted(side);
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const p of side) {
    xx += (p.x - m.x) ** 2;
    xy += (p.x - m.x) * (p.y - m.y);
    yy += (p.y - m.y) ** 2;
  }
  const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
  const d = { x: Math.cos(angle), y: Math.sin(angle) };
  const first = side[0]!;
  const last = side[side.length - 1]!;
  const way = d.x * (last.x - first.x) + d.y * (last.y - first.y);
  return way >= 0 ? d : { x: -d.x, y: -d.y };
}

const fitted = (side: Point[]): Point => ({
  x: side.reduce((sum, p) => sum + p.x, 0) / side.length,
  y: side.reduce((sum, p) => sum + p.y, 0) / side.length,
});

/** Angle between the end of one side and the start of the next, by lines through the third next to the corner. */
function cornerAngle(before: Point[], after: Point[]): number {
  const part = (side: Point[], fromEnd: boolean): Point[] => {
    const low = Math.floor(0.04 * side.length);
    const high = Math.max(low + 3, Math.ceil(0.34 * side.length));
    return fromEnd ? side.slice(-high, low > 0 ? -low : undefined) : side.slice(low, high);
  };
  const a = directionOf(part(before, true));
  const b = directionOf(part(after, false));
  const turn = Math.atan2(a.x * b.y - a.y * b.x, a.x * b.x + a.y * b.y);
  return 180 - (turn * 180) / Math.PI;
}

/** Mean square of a side's points about a parabola along its chord. */
function waveOf(side: Point[]): number {
  const m = fitted(side);
  const d = directionOf(side);
  const length =
    Math.hypot(side[side.length - 1]!.x - side[0]!.x, side[side.length - 1]!.y - side[0]!.y) || 1;
  // Legendre polynomials of degree 0 to 2 are all but orthogonal over evenly spaced points.
  const rows = side.map((p) => ({
    t: (2 * ((p.x - m.x) * d.x + (p.y - m.y) * d.y)) / length,
    off: -(p.x - m.x) * d.y + (p.y - m.y) * d.x,
  }));
  const p2 = (t: number) => 1.5 * t * t - 0.5;
  const bend = (5 * rows.reduce((sum, r) => sum + r.off * p2(r.t), 0)) / rows.length;
  return rows.reduce((sum, r) => sum + (r.off - bend * p2(r.t)) ** 2, 0) / rows.length;
}
