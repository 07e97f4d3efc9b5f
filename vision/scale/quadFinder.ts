import type { Point, RgbImage } from '../types.ts';
import { impliedRectangle, type Quad } from './geometry.ts';
import { proposeQuads, type QuadHypothesis } from './quads.ts';
import { findSegments, joinCollinear, shrink } from './segments.ts';

/** A shape to look for: long side ÷ short side, and how far a picture may be off, relatively. */
export interface ShapeOptions {
  aspects: readonly number[];
  tolerance: number;
  /** Shortest long side, as a share of the picture's longer side. */
  minLongSideShare: number;
  /** Focal lengths to try, px of the picture that is handed in. */
  focalsPx: readonly number[];
  maxTiltDeg: number;
}

/** Sizes at which edges are looked for: the small one sees through wood grain and pile, the large one small cards. */
const SEARCH_SIDES_PX = [1280, 640] as const;
const MAX_SEGMENTS = 700;

/**
 * Quadrilaterals of a given shape anywhere in the picture, best supported first, in the pixels of `rgb`,
 * clockwise, the long side from corner 0 to corner 1.
 */
export function findQuads(
  rgb: RgbImage,
  options: ShapeOptions,
): (QuadHypothesis & { searchScale: number })[] {
  const found: (QuadHypothesis & { searchScale: number })[] = [];
  for (const side of SEARCH_SIDES_PX) {
    const { rgb: small, scale } = shrink(rgb, side);
    const segments = joinCollinear(
      findSegments(small, { minLengthPx: side === 1280 ? 18 : 14, minGradient: 2.2, blurPx: 1 }),
      MAX_SEGMENTS,
    );
    const long = Math.max(small.widthPx, small.heightPx);
    const centre = { x: (small.widthPx - 1) / 2, y: (small.heightPx - 1) / 2 };
    const focals = options.focalsPx.map((f) => f * scale);
    const minSidePx = (options.minLongSideShare * long) / Math.max(...options.aspects) / 1.25;
    const proposals = proposeQuads(segments, {
      widthPx: small.widthPx,
      heightPx: small.heightPx,
      minSidePx,
      maxHypotheses: 80,
      accept: (quad) => fitsShape(quad, options, focals, centre),
    });
    for (const p of proposals) {
      const quad = p.quad.map((c) => toFull(c, scale)) as Quad;
      const turned = longSideFirst(quad, options.focalsPx[0]!, {
        x: (rgb.widthPx - 1) / 2,
        y: (rgb.heightPx - 1) / 2,
      });
      found.push({ ...p, quad: turned, searchScale: scale });
    }
    if (scale === 1 && side < 1280) break;
  }
  return found.sort((p, q) => q.score - p.score);
}

const toFull = (p: Point, scale: number): Point => ({
  x: (p.x + 0.5) / scale - 0.5,
  y: (p.y + 0.5) / scale - 0.5,
});

function fitsShape(quad: Quad, options: ShapeOptions, focals: readonly number[], centre: Point): boolean {
  return focals.some((focal) => {
    const { aspect, skew, tiltDeg } = impliedRectangle(quad, focal, centre);
    if (skew > 0.14 || tiltDeg > options.maxTiltDeg) return false;
    const long = Math.max(aspect, 1 / aspect);
    return options.aspects.some((a) => Math.abs(Math.log(long / a)) < options.tolerance);
  });
}

/** Turns the corners so that the side from corner 0 to corner 1 is the long one. */
export function longSideFirst(quad: Quad, focalPx: number, centre: Point): Quad {
  return impliedRectangle(quad, focalPx, centre).aspect >= 1 ? quad : [quad[1], quad[2], quad[3], quad[0]];
}
