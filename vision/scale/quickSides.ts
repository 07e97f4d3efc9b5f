import type { Point, RgbImage } from '../types.ts';
import { distance, intersect, lineThrough, type Line, type Quad } from './geometry.ts';

/** A quadrilateral moved onto the edges near it, and how much of each of its sides has one. */
export interface QuickFit {
  quad: Quad;
  /** Share of each side (0→1, 1→2, 2→3, 3→0) on which the colour steps, most of all just there. */
  supports: [number, number, number, number];
  /** Share of the eight prolongations past the corners along which the edge goes on. */
  prolonged: number;
  /** Share of the inside that is even in colour. */
  flat: number;
}

const SAMPLES = 32;
const INSET_SHARE = 0.08;
/** Weakest step that counts, grey levels over the baseline (Euclidean over R, G, B). */
const MIN_STEP = 7;
/** Beyond this a stronger step says no more: many weak agreeing places beat a few strong ones. */
const ENOUGH_STEP = 45;

/**
 * Judges a proposed quadrilateral in a few microseconds a side: enough to rank hundreds of guesses by, so that
 * only the best few are fitted exactly.
 *
 * @param rgb the reduced picture that the quadrilateral was proposed in
 * @param reachPx how far to either side of each side to look, px of `rgb`
 */
export function quickFit(
  rgb: RgbImage,
  quad: Quad,
  reachPx: readonly [number, number, number, number],
): QuickFit | null {
  const lines: Line[] = [];
  const supports: [number, number, number, number] = [0, 0, 0, 0];
  for (let i = 0; i < 4; i++) {
    const side = quickSide(rgb, quad[i]!, quad[(i + 1) % 4]!, Math.min(24, Math.ceil(reachPx[i]!)));
    if (!side) return null;
    lines.push(side.line);
    supports[i] = side.support;
  }
  const corners = lines.map((line, i) => intersect(lines[(i + 3) % 4]!, line));
  if (corners.some((c) => c === null)) return null;
  const moved = corners as Quad;
  return { quad: moved, supports, prolonged: prolongedShare(rgb, moved), flat: flatShare(rgb, moved) };
}

/** Squared colour difference between two whole pixels; 0 outside the picture. */
function apart(rgb: RgbImage, ax: number, ay: number, bx: number, by: number): number {
  const { widthPx: w, heightPx: h, data } = rgb;
  if (Math.min(ax, ay, bx, by) < 0 || Math.max(ax, bx) >= w || Math.max(ay, by) >= h) return 0;
  const a = 3 * (ay * w + ax);
  const b = 3 * (by * w + bx);
  return (data[a]! - data[b]!) ** 2 + (data[a + 1]! - data[b + 1]!) ** 2 + (data[a + 2]! - data[b + 2]!) ** 2;
}

function prolongedShare(rgb: RgbImage, quad: Quad): number {
  let prolonged = 0;
  for (let i = 0; i < 4; i++) {
    const p = quad[i]!;
    const q = quad[(i + 1) % 4]!;
    const length = distance(p, q);
    const ux = (q.x - p.x) / length;
    const uy = (q.y - p.y) / length;
    const reach = Math.max(6, 0.16 * length);
    for (const [corner, sign] of [
      [p, -1],
      [q, 1],
    ] as const) {
      let on = 0;
      const count = 8;
      for (let k = 0; k < count; k++) {
        const t = sign * (2 + ((reach - 2) * (k + 0.5)) / count);
        const step = (o: number): number => {
          const x = corner.x + ux * t - uy * o;
          const y = corner.y + uy * t + ux * o;
          return apart(
            rgb,
            Math.round(x + 1.2 * uy),
            Math.round(y - 1.2 * ux),
            Math.round(x - 1.2 * uy),
            Math.round(y + 1.2 * ux),
          );
        };
        const here = Math.max(step(-1), step(0), step(1));
        if (here > MIN_STEP * MIN_STEP && here >= step(-3) && here >= step(3)) on++;
      }
      if (on >= 6) prolonged++;
    }
  }
  return prolonged / 8;
}

function flatShare(rgb: RgbImage, quad: Quad): number {
  let flat = 0;
  const across = 8;
  const down = 5;
  for (let i = 0; i < across; i++) {
    for (let j = 0; j < down; j++) {
      const u = (i + 1) / (across + 1);
      const v = (j + 1) / (down + 1);
      const x = Math.round(
        (1 - v) * ((1 - u) * quad[0].x + u * quad[1].x) + v * ((1 - u) * quad[3].x + u * quad[2].x),
      );
      const y = Math.round(
        (1 - v) * ((1 - u) * quad[0].y + u * quad[1].y) + v * ((1 - u) * quad[3].y + u * quad[2].y),
      );
      if (Math.max(apart(rgb, x - 1, y, x + 1, y), apart(rgb, x, y - 1, x, y + 1)) < 256) flat++;
    }
  }
  return flat / (across * down);
}

function quickSide(
  rgb: RgbImage,
  from: Point,
  to: Point,
  reach: number,
): { line: Line; support: number } | null {
  const length = distance(from, to);
  if (length < 6) return null;
  const ux = (to.x - from.x) / length;
  const uy = (to.y - from.y) / length;
  const { widthPx, heightPx, data } = rgb;
  // Steps across the side at whole pixels; two more on either side to see whether one is a peak.
  const margin = 2;
  const offsets = 2 * (reach + margin) + 1;
  const steps = new Float32Array(SAMPLES * offsets);
  let seen = 0;
  for (let s = 0; s < SAMPLES; s++) {
    const t = length * (INSET_SHARE + ((1 - 2 * INSET_SHARE) * (s + 0.5)) / SAMPLES);
    const px = from.x + ux * t;
    const py = from.y + uy * t;
    let inside = true;
    for (let k = 0; k < offsets; k++) {
      const o = k - reach - margin;
      const ax = Math.round(px - uy * (o - 1.2));
      const ay = Math.round(py + ux * (o - 1.2));
      const bx = Math.round(px - uy * (o + 1.2));
      const by = Math.round(py + ux * (o + 1.2));
      if (Math.min(ax, bx, ay, by) < 0 || Math.max(ax, bx) >= widthPx || Math.max(ay, by) >= heightPx) {
        inside = false;
        continue;
      }
      const a = 3 * (ay * widthPx + ax);
      const b = 3 * (by * widthPx + bx);
      const r = data[a]! - data[b]!;
      const g = data[a + 1]! - data[b + 1]!;
      const c = data[a + 2]! - data[b + 2]!;
      steps[s * offsets + k] = Math.sqrt(r * r + g * g + c * c);
    }
    if (inside) seen++;
  }
  if (seen < 0.4 * SAMPLES) return null;
  const last = 2 * reach;
  let best = -1;
  let bestStart = reach;
  let bestEnd = reach;
  for (let start = 0; start <= last; start++) {
    for (let end = 0; end <= last; end++) {
      if (Math.abs(start - end) > reach + 2) continue;
      let sum = 0;
      for (let s = 0; s < SAMPLES; s++) {
        const k = margin + Math.round(start + ((end - start) * (s + 0.5)) / SAMPLES);
        const v = steps[s * offsets + k]!;
        // Not quite flat beyond, so that the middle of a strong edge is better than its flank.
        sum += v > ENOUGH_STEP ? ENOUGH_STEP + 0.15 * (v - ENOUGH_STEP) : v;
      }
      // Slightly for the line that was given, so that ties do not wander.
      sum *= 1 - (0.1 * (Math.abs(start - reach) + Math.abs(end - reach))) / offsets;
      if (sum > best) {
        best = sum;
        bestStart = start;
        bestEnd = end;
      }
    }
  }
  let supported = 0;
  for (let s = 0; s < SAMPLES; s++) {
    const k = margin + Math.round(bestStart + ((bestEnd - bestStart) * (s + 0.5)) / SAMPLES);
    const at = s * offsets + k;
    const v = Math.max(steps[at]!, steps[at - 1]!, steps[at + 1]!);
    if (v >= MIN_STEP && v >= steps[at - 2]! && v >= steps[at + 2]!) supported++;
  }
  const place = (share: number, offset: number): Point => {
    const t = length * share;
    return { x: from.x + ux * t - uy * offset, y: from.y + uy * t + ux * offset };
  };
  return {
    line: lineThrough(place(INSET_SHARE, bestStart - reach), place(1 - INSET_SHARE, bestEnd - reach)),
    support: supported / SAMPLES,
  };
}
