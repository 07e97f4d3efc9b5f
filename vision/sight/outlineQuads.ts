import { linearRegression, median } from 'simple-statistics';
import { cv, withMats, type Mat, type MatVector } from '../cv.ts';
import type { Point } from '../types.ts';
import { contourHulls } from '../scale/contourHulls.ts';
import { fourLongestSides } from '../scale/fourLongestSides.ts';
import { centroid, distance, intersect, isConvex, mix, type Line, type Quad } from '../scale/geometry.ts';
import { markAbove } from './markAbove.ts';

/** A quadrilateral drawn about a patch of a map, and how well the patch fills it. */
export interface OutlineQuad {
  /** Clockwise, px of the map. */
  quad: Quad;
  areaPx: number;
  /** Part of the outline that follows the four sides to within half a pixel or so. */
  straightness: number;
}

export interface LogOddsMap {
  widthPx: number;
  heightPx: number;
  /** Above 0 inside. */
  data: Float32Array;
}

/**
 * Quadrilaterals about the patches of a map that are more likely inside than not, largest first; the sides are fitted
 * to where the odds are even, to a fraction of a map pixel.
 *
 * @param leastAreaPx smaller patches are passed over
 */
export function outlineQuads(map: LogOddsMap, leastAreaPx: number): OutlineQuad[] {
  const found: OutlineQuad[] = [];
  for (const { points, areaPx } of patchesOf(map, leastAreaPx)) {
    const start = fourLongestSides(points);
    if (!start) continue;
    const fitted = fitSides(map, fitSides(map, start).quad);
    // Sides that hardly turn meet far off, and what they enclose is not the patch.
    if (isConvex(fitted.quad) && lies(centroid(fitted.quad), map)) found.push({ ...fitted, areaPx });
  }
  return found.sort((p, q) => q.areaPx - p.areaPx);
}

const lies = ({ x, y }: Point, { widthPx, heightPx }: LogOddsMap): boolean =>
  x >= 0 && y >= 0 && x <= widthPx - 1 && y <= heightPx - 1;

function patchesOf(map: LogOddsMap, leastAreaPx: number): { points: Point[]; areaPx: number }[] {
  const { widthPx: w, heightPx: h, data } = map;
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    markAbove(data, 0, mask.data);
    const contours = keep<MatVector>(new cv.MatVector());
    cv.findContours(mask, contours, keep<Mat>(new cv.Mat()), cv.RETR_EXTERNAL, cv.CHAIN_APPROX_SIMPLE);
    return contourHulls(contours, { leastAreaPx, tolerance: 0.03 }, keep);
  });
}

/** Log-odds between map pixels; the border's go on beyond it. */
function at(map: LogOddsMap, x: number, y: number): number {
  const { widthPx: w, heightPx: h, data } = map;
  const cx = Math.min(w - 1.001, Math.max(0, x));
  const cy = Math.min(h - 1.001, Math.max(0, y));
  const i = Math.floor(cx);
  const j = Math.floor(cy);
  const u = cx - i;
  const v = cy - j;
  const k = j * w + i;
  return (
    (1 - v) * ((1 - u) * data[k]! + u * data[k + 1]!) + v * ((1 - u) * data[k + w]! + u * data[k + w + 1]!)
  );
}

const PLACES = 24;
const STEP_PX = 0.25;

/** Where the odds are even near the line from `from` to `to`, whose outward normal is (nx, ny). */
function crossingsAlong(map: LogOddsMap, from: Point, to: Point, nx: number, ny: number): Point[] {
  const reach = Math.max(2, 0.12 * distance(from, to));
  const crossings: Point[] = [];
  for (let s = 0; s < PLACES; s++) {
    const p = mix(from, to, 0.1 + (0.8 * (s + 0.5)) / PLACES);
    let before = at(map, p.x - reach * nx, p.y - reach * ny);
    if (before <= 0) continue;
    for (let d = -reach + STEP_PX; d <= reach; d += STEP_PX) {
      const here = at(map, p.x + d * nx, p.y + d * ny);
      if (here <= 0) {
        const exact = d - STEP_PX + (STEP_PX * before) / (before - here);
        crossings.push({ x: p.x + exact * nx, y: p.y + exact * ny });
        break;
      }
      before = here;
    }
  }
  return crossings;
}

/** Moves each side onto the crossings of even odds near it: a line through their middle, strays left out. */
function fitSides(map: LogOddsMap, quad: Quad): Omit<OutlineQuad, 'areaPx'> {
  let near = 0;
  let all = 0;
  const lines = quad.map((from, k): Line => {
    const to = quad[(k + 1) % 4]!;
    const length = distance(from, to);
    const nx = (to.y - from.y) / length;
    const ny = -(to.x - from.x) / length; // outward of a clockwise quadrilateral
    all += PLACES;
    const crossings = crossingsAlong(map, from, to, nx, ny);
    const fitted = robustLine(crossings, nx, ny);
    if (!fitted) return { nx, ny, c: nx * from.x + ny * from.y };
    near += fitted.near;
    return fitted.line;
  });
  const corners = lines.map((line, k) => intersect(lines[(k + 3) % 4]!, line));
  return {
    quad: corners.every((c) => c !== null) ? (corners as Quad) : quad,
    straightness: near / all,
  };
}

/** Least squares along a known direction, twice without what lies far off (the outward normal is (nx, ny)). */
function robustLine(points: Point[], nx: number, ny: number): { line: Line; near: number } | null {
  let kept = points;
  let line: Line | null = null;
  for (let round = 0; round < 4; round++) {
    if (kept.length < 6) return null;
    const { m: b, b: a } = linearRegression(
      kept.map((p) => [-ny * p.x + nx * p.y, nx * p.x + ny * p.y]), // along the side, and outward of it
    );
    // outward − b · along = a, as a line with unit normal
    const mx = nx + b * ny;
    const my = ny - b * nx;
    const size = Math.hypot(mx, my);
    line = { nx: mx / size, ny: my / size, c: a / size };
    const off = (p: Point) => Math.abs(line!.nx * p.x + line!.ny * p.y - line!.c);
    const limit = Math.max(0.5, 2.5 * median(kept.map(off)));
    kept = points.filter((p) => off(p) <= limit);
  }
  if (!line) return null;
  const { nx: lx, ny: ly, c } = line;
  return { line, near: points.filter((p) => Math.abs(lx * p.x + ly * p.y - c) <= 0.6).length };
}
