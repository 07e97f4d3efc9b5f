import type { Point } from '../types.ts';
import { distance, isConvex, signedArea, type Quad } from './geometry.ts';
import type { Segment } from './segments.ts';

/** A quadrilateral that straight edges suggest, clockwise on screen, in the pixels of the searched picture. */
export interface QuadHypothesis {
  quad: Quad;
  /** Share of each side (0→1, 1→2, 2→3, 3→0) that is covered by straight edges. */
  coverage: [number, number, number, number];
  /** The side (0…3) of which nothing was seen and whose place is inferred from the shape, or null. */
  hiddenSide: number | null;
  score: number;
}

export interface QuadOptions {
  widthPx: number;
  heightPx: number;
  /** Shortest side that may be proposed, px. */
  minSidePx: number;
  /** Says whether the shape is worth keeping; called with clockwise corners. */
  accept: (quad: Quad) => boolean;
  /** Places the far corners when the far side is hidden; `from` and `to` are the base's corners. */
  complete?: (base: { from: Point; to: Point }, sides: [Ray, Ray]) => [Point, Point][];
  maxHypotheses: number;
}

/** A side that leaves the base at `corner`. */
export interface Ray {
  corner: Point;
  dx: number;
  dy: number;
}

interface Junction {
  /** Index of the side segment. */
  segment: number;
  corner: Point;
  /** Unit vector along the side, away from the base. */
  dx: number;
  dy: number;
  /** How far along it the side's pixels reach, px from the corner. */
  fromPx: number;
  toPx: number;
  quality: number;
}

const BEST_JUNCTIONS = 10;

/**
 * Proposes quadrilaterals: a base segment, a side at each of its ends (two corners), and a fourth segment
 * across. Every side may be broken, and the two far corners need not be seen at all, so that one corner may
 * be hidden.
 */
export function proposeQuads(segments: readonly Segment[], options: QuadOptions): QuadHypothesis[] {
  const found = new Map<string, QuadHypothesis>();
  const partial = new Map<string, QuadHypothesis>();
  segments.forEach((base, index) => {
    if (base.lengthPx < 0.45 * options.minSidePx) return;
    const { left, right } = junctionsOf(base, index, segments);
    for (const [atA, atB] of [left, right]) {
      for (const first of atA) {
        for (const second of atB) {
          tryBase(base, first, second, segments, options, found);
          tryThreeSides(base, first, second, options, partial);
        }
      }
    }
  });
  const best = (all: Map<string, QuadHypothesis>): QuadHypothesis[] =>
    [...all.values()].sort((p, q) => q.score - p.score).slice(0, options.maxHypotheses);
  return [...best(found), ...best(partial)];
}

type Ends = [Junction[], Junction[]];

/** Sides that start near either end of the base, sorted by which way they leave it. */
function junctionsOf(
  base: Segment,
  index: number,
  segments: readonly Segment[],
): { left: Ends; right: Ends } {
  const left: Ends = [[], []];
  const right: Ends = [[], []];
  segments.forEach((side, i) => {
    if (i === index) return;
    const cross = base.dx * side.dy - base.dy * side.dx;
    if (Math.abs(cross) < 0.82) return; // corners look 55°…125° wide at most
    const ux = side.a.x - base.a.x;
    const uy = side.a.y - base.a.y;
    const along = (ux * side.dy - uy * side.dx) / cross; // on the base, from its a
    const onSide = (ux * base.dy - uy * base.dx) / cross; // on the side, from its a
    const baseGap = Math.max(8, 0.5 * base.lengthPx);
    const sideGap = Math.max(8, 0.6 * side.lengthPx);
    const over = Math.max(4, 0.2 * base.lengthPx);
    const corner = { x: base.a.x + along * base.dx, y: base.a.y + along * base.dy };

    // Which end of the side is the near one, and does the side leave the base from there?
    const nearIsA = onSide < side.lengthPx / 2;
    const before = nearIsA ? -onSide : onSide - side.lengthPx; // > 0: gap, < 0: overshoot
    if (before > sideGap || before < -Math.max(4, 0.25 * side.lengthPx)) return;
    const sign = nearIsA ? 1 : -1;
    const dx = side.dx * sign;
    const dy = side.dy * sign;
    const isRight = base.dx * dy - base.dy * dx > 0;

    const consider = (end: 0 | 1, beyond: number): void => {
      if (beyond > baseGap || beyond < -over) return;
      const quality =
        Math.min(side.lengthPx, 2 * base.lengthPx) -
        1.5 * Math.abs(before) -
        1.0 * Math.abs(beyond) * Math.min(1, side.lengthPx / base.lengthPx);
      (isRight ? right : left)[end].push({
        segment: i,
        corner,
        dx,
        dy,
        fromPx: before,
        toPx: before + side.lengthPx,
        quality,
      });
    };
    consider(0, -along);
    consider(1, along - base.lengthPx);
  });
  for (const ends of [left, right]) {
    for (const end of [0, 1] as const) {
      ends[end] = ends[end].sort((p, q) => q.quality - p.quality).slice(0, BEST_JUNCTIONS);
    }
  }
  return { left, right };
}

function tryBase(
  base: Segment,
  first: Junction,
  second: Junction,
  segments: readonly Segment[],
  options: QuadOptions,
  found: Map<string, QuadHypothesis>,
): void {
  const width = distance(first.corner, second.corner);
  if (width < options.minSidePx || width > 1.7 * base.lengthPx + 16) return;
  // The base must run from the first corner to the second, and the sides leave it side by side.
  const forward = (second.corner.x - first.corner.x) * base.dx + (second.corner.y - first.corner.y) * base.dy;
  if (forward <= 0) return;
  if (first.dx * second.dx + first.dy * second.dy < 0.9) return;
  const baseCoverage = coveredShare(base, first.corner, second.corner, width);

  segments.forEach((far, k) => {
    if (k === first.segment || k === second.segment || far === base) return;
    if (Math.abs(far.dx * base.dx + far.dy * base.dy) < 0.9) return;
    const t1 = alongRay(first, far);
    const t2 = alongRay(second, far);
    if (t1 < options.minSidePx || t2 < options.minSidePx) return;
    const ratio = (t1 + t2) / (2 * width);
    if (ratio < 0.4 || ratio > 2.4 || t1 / t2 > 1.6 || t2 / t1 > 1.6) return;
    const side1 = (Math.min(first.toPx, t1) - Math.max(0, first.fromPx)) / t1;
    const side2 = (Math.min(second.toPx, t2) - Math.max(0, second.fromPx)) / t2;
    if (side1 < 0.25 || side2 < 0.25) return;
    const p = { x: first.corner.x + t1 * first.dx, y: first.corner.y + t1 * first.dy };
    const q = { x: second.corner.x + t2 * second.dx, y: second.corner.y + t2 * second.dy };
    const farCoverage = coveredShare(far, p, q, distance(p, q));
    if (farCoverage < 0.25) return;
    keep(
      [first.corner, second.corner, q, p],
      [baseCoverage, side2, farCoverage, side1],
      null,
      options,
      found,
    );
  });
}

/** A base with both its sides, the far side hidden: by the work lying on it, mostly. */
function tryThreeSides(
  base: Segment,
  first: Junction,
  second: Junction,
  options: QuadOptions,
  found: Map<string, QuadHypothesis>,
): void {
  if (!options.complete) return;
  const width = distance(first.corner, second.corner);
  if (width < options.minSidePx || width > 1.4 * base.lengthPx + 8) return;
  const forward = (second.corner.x - first.corner.x) * base.dx + (second.corner.y - first.corner.y) * base.dy;
  if (forward <= 0 || first.dx * second.dx + first.dy * second.dy < 0.93) return;
  const baseCoverage = coveredShare(base, first.corner, second.corner, width);
  if (baseCoverage < 0.6) return;
  // Both corners have to be seen well: little gap, little overshoot.
  const slack = 0.14 * width + 4;
  if (Math.abs(first.fromPx) > slack || Math.abs(second.fromPx) > slack) return;
  const alongA = (base.a.x - first.corner.x) * base.dx + (base.a.y - first.corner.y) * base.dy;
  if (alongA < -slack || alongA + base.lengthPx > width + slack) return;
  for (const [p, q] of options.complete({ from: first.corner, to: second.corner }, [first, second])) {
    const t1 = distance(first.corner, p);
    const t2 = distance(second.corner, q);
    // What runs on past the far corner is no side of this shape.
    if (first.toPx > 1.08 * t1 || second.toPx > 1.08 * t2) continue;
    const side1 = (Math.min(first.toPx, t1) - Math.max(0, first.fromPx)) / t1;
    const side2 = (Math.min(second.toPx, t2) - Math.max(0, second.fromPx)) / t2;
    if (Math.min(side1, side2) < 0.18 || side1 + side2 < 0.6) continue;
    keep([first.corner, second.corner, q, p], [baseCoverage, side2, 0, side1], 2, options, found);
  }
}

function keep(
  quad: Quad,
  coverage: QuadHypothesis['coverage'],
  hiddenSide: number | null,
  options: QuadOptions,
  found: Map<string, QuadHypothesis>,
): void {
  const margin = 0.04 * Math.max(options.widthPx, options.heightPx);
  for (const { x, y } of quad) {
    if (x < -margin || y < -margin || x > options.widthPx + margin || y > options.heightPx + margin) return;
  }
  if (!isConvex(quad)) return;
  let corners = quad;
  let cover = coverage;
  let hidden = hiddenSide;
  if (signedArea(quad) < 0) {
    corners = [quad[0], quad[3], quad[2], quad[1]];
    cover = [coverage[3], coverage[2], coverage[1], coverage[0]];
    hidden = hiddenSide === null ? null : 3 - hiddenSide;
  }
  if (!options.accept(corners)) return;
  const sum = cover[0] + cover[1] + cover[2] + cover[3];
  const score = sum + Math.min(...cover);
  // The same quadrilateral comes from each of its sides: name it by its corners, topmost first.
  const start = corners.reduce(
    (best, c, i) => (c.x + 1.01 * c.y < corners[best]!.x + 1.01 * corners[best]!.y ? i : best),
    0,
  );
  const key = [0, 1, 2, 3]
    .map((i) => corners[(start + i) % 4]!)
    .map((c) => `${Math.round(c.x / 4)},${Math.round(c.y / 4)}`)
    .join(' ');
  const known = found.get(key);
  if (!known || known.score < score)
    found.set(key, { quad: corners, coverage: cover, hiddenSide: hidden, score });
}

/** Distance from a junction's corner along its side to where a segment's line crosses. */
function alongRay(j: Junction, s: Segment): number {
  const det = j.dx * s.dy - j.dy * s.dx;
  return ((s.a.x - j.corner.x) * s.dy - (s.a.y - j.corner.y) * s.dx) / det;
}

/** Share of the stretch p…q that lies beside a segment which is nearly in line with it. */
function coveredShare(s: Segment, p: Point, q: Point, length: number): number {
  const ux = (q.x - p.x) / length;
  const uy = (q.y - p.y) / length;
  const ta = (s.a.x - p.x) * ux + (s.a.y - p.y) * uy;
  const tb = (s.b.x - p.x) * ux + (s.b.y - p.y) * uy;
  return Math.max(0, Math.min(Math.max(ta, tb), length) - Math.max(Math.min(ta, tb), 0)) / length;
}
