import type { Point, RgbImage } from '../types.ts';
import { impliedRectangle, type Quad } from './geometry.ts';
import { proposeQuads, type QuadHypothesis, type Ray } from './quads.ts';
import { shrink } from '../shrink.ts';
import { findSegments, joinCollinear } from './segments.ts';

/** A shape to look for: long side ÷ short side, and how far a picture may be off, relatively. */
export interface ShapeOptions {
  aspects: readonly number[];
  tolerance: number;
  /** Shortest long side, as a share of the picture's longer side. */
  minLongSideShare: number;
  /** Focal lengths to try, px of the picture that is handed in. */
  focalsPx: readonly number[];
  maxTiltDeg: number;
  /** Also propose shapes of which only three sides are seen. */
  threeSided: boolean;
  /** Most proposals of either sort, whole and three-sided, at each size. Default 80. */
  maxHypotheses?: number;
}

/** Sizes at which edges are looked for: the small one sees through wood grain and pile, the large one small things. */
const SEARCH_SIDES_PX = [1280, 640] as const;
const MAX_SEGMENTS = 700;

/** A quadrilateral in the pixels of the picture that was handed in. */
export interface QuadProposal extends QuadHypothesis {
  /** px of the reduced picture that it was seen in ÷ px of the picture. */
  searchScale: number;
}

/**
 * Quadrilaterals of a given shape anywhere in the picture, best supported first, in the pixels of `rgb`,
 * clockwise, the long side from corner 0 to corner 1.
 */
export function findQuads(rgb: RgbImage, options: ShapeOptions): QuadProposal[] {
  const found: QuadProposal[] = [];
  for (const side of SEARCH_SIDES_PX) {
    const { proposals, scale } = findQuadsAt(rgb, side, options);
    found.push(...proposals);
    if (scale === 1 && side < 1280) break;
  }
  return found.sort((p, q) => q.score - p.score);
}

/** As `findQuads`, at one size only: the picture is shrunk until its longer side is at most `sidePx`. */
export function findQuadsAt(
  rgb: RgbImage,
  sidePx: number,
  options: ShapeOptions,
): { proposals: QuadProposal[]; small: RgbImage; scale: number } {
  const { rgb: small, scale } = shrink(rgb, sidePx);
  const segments = joinCollinear(
    findSegments(small, { minLengthPx: sidePx >= 1000 ? 18 : 12, minGradient: 2.2, blurPx: 1 }),
    MAX_SEGMENTS,
  );
  const long = Math.max(small.widthPx, small.heightPx);
  const centre = { x: (small.widthPx - 1) / 2, y: (small.heightPx - 1) / 2 };
  const focals = options.focalsPx.map((f) => f * scale);
  const minSidePx = (options.minLongSideShare * long) / Math.max(...options.aspects) / 1.25;
  const hypotheses = proposeQuads(segments, {
    widthPx: small.widthPx,
    heightPx: small.heightPx,
    minSidePx,
    maxHypotheses: options.maxHypotheses ?? 80,
    accept: (quad) => fitsShape(quad, options, focals, centre),
    ...(options.threeSided
      ? {
          complete: (base: { from: Point; to: Point }, sides: [Ray, Ray]) =>
            options.aspects
              .flatMap((a) =>
                [a, 1 / a].map((ratio) => farCorners(base.from, base.to, sides, ratio, focals[0]!, centre)),
              )
              .filter((c): c is [Point, Point] => c !== null),
        }
      : {}),
  });
  const middle = { x: (rgb.widthPx - 1) / 2, y: (rgb.heightPx - 1) / 2 };
  const proposals = hypotheses.map((p): QuadProposal => {
    const quad = p.quad.map((c) => toFull(c, scale)) as Quad;
    const isTurned = impliedRectangle(quad, options.focalsPx[0]!, middle).aspect < 1;
    return {
      quad: isTurned ? [quad[1], quad[2], quad[3], quad[0]] : quad,
      coverage: isTurned ? [p.coverage[1], p.coverage[2], p.coverage[3], p.coverage[0]] : p.coverage,
      hiddenSide: p.hiddenSide === null ? null : isTurned ? (p.hiddenSide + 3) % 4 : p.hiddenSide,
      score: p.score,
      searchScale: scale,
    };
  });
  return { proposals, small, scale };
}

const toFull = (p: Point, scale: number): Point => ({
  x: (p.x + 0.5) / scale - 0.5,
  y: (p.y + 0.5) / scale - 0.5,
});

export function fitsShape(
  quad: Quad,
  options: ShapeOptions,
  focals: readonly number[],
  centre: Point,
): boolean {
  return focals.some((focal) => {
    const { aspect, skew, tiltDeg } = impliedRectangle(quad, focal, centre);
    if (skew > 0.14 || tiltDeg > options.maxTiltDeg) return false;
    const long = Math.max(aspect, 1 / aspect);
    return options.aspects.some((a) => Math.abs(Math.log(long / a)) < options.tolerance);
  });
}

/**
 * The far corners of a rectangle whose base and two sides are seen, for a camera of given focal length: the
 * sides meet in the vanishing point of their direction, and the base is square to that direction.
 *
 * @param ratio length of the sides ÷ length of the base
 */
function farCorners(
  from: Point,
  to: Point,
  sides: [Ray, Ray],
  ratio: number,
  focalPx: number,
  centre: Point,
): [Point, Point] | null {
  const ray = (p: Point): Vector => [(p.x - centre.x) / focalPx, (p.y - centre.y) / focalPx, 1];
  const c0 = ray(from);
  const c1 = ray(to);
  const plane = (r: Ray): Vector =>
    cross(ray(r.corner), ray({ x: r.corner.x + 100 * r.dx, y: r.corner.y + 100 * r.dy }));
  let along = cross(plane(sides[0]), plane(sides[1]));
  const norm = Math.hypot(...along);
  if (norm < 1e-12) return null;
  along = along.map((v) => v / norm) as Vector;
  // Away from the base, as the first side runs.
  const ahead = (along[0] - c0[0] * along[2]) * sides[0].dx + (along[1] - c0[1] * along[2]) * sides[0].dy;
  if (ahead < 0) along = along.map((v) => -v) as Vector;
  const across = cross(cross(c0, c1), along);
  // c0 + w · across is a multiple of c1: take the component that is best determined.
  const a = cross(c0, c1);
  const b = cross(across, c1);
  const k = [0, 1, 2].reduce((best, i) => (Math.abs(b[i]!) > Math.abs(b[best]!) ? i : best), 0);
  const w = -a[k]! / b[k]!;
  const base: Vector = [w * across[0], w * across[1], w * across[2]];
  const h = ratio * Math.hypot(...base);
  const project = (v: Vector): Point | null =>
    v[2] > 0.05 ? { x: centre.x + (focalPx * v[0]) / v[2], y: centre.y + (focalPx * v[1]) / v[2] } : null;
  const p = project([c0[0] + h * along[0], c0[1] + h * along[1], c0[2] + h * along[2]]);
  const q = project([
    c0[0] + base[0] + h * along[0],
    c0[1] + base[1] + h * along[1],
    c0[2] + base[2] + h * along[2],
  ]);
  return p && q ? [p, q] : null;
}

type Vector = [number, number, number];

function cross(a: Vector, b: Vector): Vector {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}
