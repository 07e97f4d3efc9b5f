import { cv, rgbToMat, withMats, type Mat, type MatVector } from '../cv.ts';
import type { Point, RgbImage } from '../types.ts';
import { distance, intersect, isConvex, lineThrough, signedArea, type Quad } from './geometry.ts';

/** Longest side of the picture in which regions are looked for, px. */
const SEARCH_SIDE_PX = 640;
/** Steps between levels, of 256. */
const STEP = { darkest: 8, warmth: 6 };
/** Smallest region, share of the picture. */
const MIN_AREA = 0.025;
/** Corners this near are the same region at another level, share of its longest side. */
const SAME = 0.04;

/**
 * Outlines of pale regions, as clockwise quadrilaterals in the picture's pixels, roughly; those that stay the
 * same over most levels come first (as in J. Matas et al., "Robust wide baseline stereo from maximally stable
 * extremal regions", Image and Vision Computing 22, 2004).
 *
 * White paper is bright in all channels, so that the darkest channel tells it from coloured tables; on a white
 * table it differs in warmth. An opening takes away stripes and checks thinner than itself. Print, or cloth
 * lying on the sheet, does not change the convex hull, as long as it stays inside.
 */
export function findPaleRegions(rgb: RgbImage): { quad: Quad; searchScale: number }[] {
  const { widthPx, heightPx } = rgb;
  const searchScale = Math.min(1, SEARCH_SIDE_PX / Math.max(widthPx, heightPx));
  return withMats((keep) => {
    const full = keep(rgbToMat(rgb));
    const small = keep<Mat>(new cv.Mat());
    cv.resize(full, small, new cv.Size(0, 0), searchScale, searchScale, cv.INTER_AREA);
    const { rows, cols } = small;
    const darkest = keep<Mat>(new cv.Mat(rows, cols, cv.CV_8UC1));
    const warmth = keep<Mat>(new cv.Mat(rows, cols, cv.CV_8UC1));
    const [from, toDarkest, toWarmth] = [small.data, darkest.data, warmth.data];
    for (let i = 0, j = 0; i < toDarkest.length; i++, j += 3) {
      toDarkest[i] = Math.min(from[j]!, from[j + 1]!, from[j + 2]!);
      toWarmth[i] = Math.max(0, Math.min(255, 128 + 2 * (from[j]! - from[j + 2]!)));
    }
    const found: { quad: Quad; levels: number }[] = [];
    const collect = (map: Mat, opening: number, step: number): void => {
      const kernel = keep<Mat>(cv.getStructuringElement(cv.MORPH_ELLIPSE, new cv.Size(opening, opening)));
      const opened = keep<Mat>(new cv.Mat());
      cv.morphologyEx(map, opened, cv.MORPH_OPEN, kernel);
      const present = opened.data;
      const low = present.reduce((a, v) => Math.min(a, v), 255);
      const high = present.reduce((a, v) => Math.max(a, v), 0);
      for (let level = low + step; level < high; level += step) {
        for (const quad of regionsAbove(opened, level)) {
          const reach = SAME * Math.max(distance(quad[0], quad[1]), distance(quad[1], quad[2]));
          const known = found.find((f) =>
            [0, 1, 2, 3].some((turn) => quad.every((p, i) => distance(p, f.quad[(i + turn) % 4]!) < reach)),
          );
          if (known) known.levels++;
          else found.push({ quad, levels: 1 });
        }
      }
    };
    collect(darkest, 3, STEP.darkest);
    collect(darkest, 9, STEP.darkest);
    collect(warmth, 7, STEP.warmth);
    const cool = keep<Mat>(new cv.Mat());
    cv.bitwise_not(warmth, cool);
    collect(cool, 7, STEP.warmth);
    return found
      .sort((p, q) => q.levels - p.levels)
      .map(({ quad }) => ({
        quad: quad.map((p) => ({
          x: (p.x + 0.5) / searchScale - 0.5,
          y: (p.y + 0.5) / searchScale - 0.5,
        })) as Quad,
        searchScale,
      }));
  });
}

function regionsAbove(map: Mat, level: number): Quad[] {
  return withMats((keep) => {
    const binary = keep<Mat>(new cv.Mat());
    cv.threshold(map, binary, level, 255, cv.THRESH_BINARY);
    const contours = keep<MatVector>(new cv.MatVector());
    const hierarchy = keep<Mat>(new cv.Mat());
    cv.findContours(binary, contours, hierarchy, cv.RETR_EXTERNAL, cv.CHAIN_APPROX_NONE);
    const quads: Quad[] = [];
    for (let i = 0; i < contours.size(); i++) {
      const contour = contours.get(i);
      const area: number = cv.contourArea(contour);
      if (area > MIN_AREA * map.rows * map.cols) {
        const quad = quadAround(contour);
        // A region that fills little of its hull is no sheet.
        if (quad && area > 0.6 * Math.abs(signedArea(quad))) quads.push(quad);
      }
      contour.delete();
    }
    return quads;
  });
}

/** The contour's hull with as many corners dropped as leaves four; null when it has no four. */
function quadAround(contour: Mat): Quad | null {
  return withMats((keep) => {
    const hull = keep<Mat>(new cv.Mat());
    cv.convexHull(contour, hull, false, true);
    const length: number = cv.arcLength(hull, true);
    for (let share = 0.01; share < 0.09; share *= 1.35) {
      const polygon = keep<Mat>(new cv.Mat());
      cv.approxPolyDP(hull, polygon, share * length, true);
      if (polygon.rows < 4) return null;
      if (polygon.rows > 4) continue;
      const d = polygon.data32S;
      const quad = [0, 1, 2, 3].map((k) => ({ x: d[2 * k]!, y: d[2 * k + 1]! })) as Quad;
      if (!isConvex(quad)) return null;
      return straightened(signedArea(quad) > 0 ? quad : [quad[0], quad[3], quad[2], quad[1]], contour);
    }
    return null;
  });
}

/**
 * The quadrilateral with its sides laid along the contour: dropping corners leaves it off by as much as they
 * stood out.
 */
function straightened(quad: Quad, contour: Mat): Quad {
  const d = contour.data32S;
  const lines = quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    const length = distance(from, to);
    const u = { x: (to.x - from.x) / length, y: (to.y - from.y) / length };
    const near: { t: number; o: number }[] = [];
    for (let k = 0; k < d.length; k += 2) {
      const x = d[k]! - from.x;
      const y = d[k + 1]! - from.y;
      const t = (x * u.x + y * u.y) / length;
      const o = y * u.x - x * u.y;
      if (t > 0.06 && t < 0.94 && Math.abs(o) < 0.08 * length) near.push({ t, o });
    }
    // Least squares over the nearer two thirds, again and again: what bites into a side falls out.
    let [a, b] = [0, 0];
    let kept = near;
    for (let round = 0; round < 6 && kept.length > 8; round++) {
      const n = kept.length;
      const mt = kept.reduce((sum, p) => sum + p.t, 0) / n;
      const mo = kept.reduce((sum, p) => sum + p.o, 0) / n;
      const tt = kept.reduce((sum, p) => sum + (p.t - mt) ** 2, 0);
      b = tt > 0 ? kept.reduce((sum, p) => sum + (p.t - mt) * (p.o - mo), 0) / tt : 0;
      a = mo - b * mt;
      const off = (p: { t: number; o: number }): number => Math.abs(p.o - a - b * p.t);
      kept = [...near].sort((p, q) => off(p) - off(q)).slice(0, Math.ceil((2 * near.length) / 3));
    }
    const at = (t: number): Point => {
      const o = a + b * t;
      return { x: from.x + t * length * u.x - o * u.y, y: from.y + t * length * u.y + o * u.x };
    };
    return lineThrough(at(0), at(1));
  });
  const corners = lines.map((line, i) => intersect(lines[(i + 3) % 4]!, line));
  return corners.every((c) => c !== null) && isConvex(corners as Quad) ? (corners as Quad) : quad;
}
