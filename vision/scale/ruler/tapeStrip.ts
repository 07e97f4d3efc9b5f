import type { RulerBody } from '../../sight/rulerBodies.ts';
import type { Point, RgbImage } from '../../types.ts';
import { fitPolynomial } from './straightenBand.ts';

/** A tape's course through the photo: its middle line, followed along both of its edges. */
export interface TapeStrip {
  /** Decoded px along the middle line. */
  lengthPx: number;
  /** Mean width, px. */
  widthPx: number;
  /** Decoded px at a distance along and across (px; 0 is the middle line). */
  place(alongPx: number, acrossPx: number): Point;
  /** Where both edges were seen: px along, px across from `place`'s middle line. */
  edges: EdgePlace[];
}

export interface EdgePlace {
  alongPx: number;
  lowPx: number;
  highPx: number;
  /** Standard uncertainty of each. */
  sigmaPx: number;
}

/** Columns that are looked at together, px. */
const BLOCK_PX = 24;
/** Steps across, px. */
const STEP_PX = 0.5;
/** Widths looked for, in widths that the network sees: it sees thin things wider than they are. */
const WIDTHS = [0.5, 1.3] as const;
const MAY_BE_WIDER_PX = 10;
const LEAST_WIDTH_PX = 9;
/** What is known of a place where an edge hardly shows: the course from before and behind, px. */
export const HARDLY_SEEN_PX = 0.8;
/** How far the middle line may lie from where the network sees it, in widths, and how far it may turn from block to block, px. */
const ASIDE = 0.45;
const TURN_PX = 1.5;
/** A difference of colours of this much is plain; more says no more. 0…255, three channels together. */
const PLAIN = 18;

/**
 * Follows the two edges of a tape along the body that the network sees: parallel lines of any contrast, together.
 *
 * @returns null where none can be followed
 */
export function straightenTape(rgb: RgbImage, body: RulerBody): TapeStrip | null {
  const lengthPx = body.lengthPx;
  const half = body.widthPx / 2;
  let course = (_: number): number => 0;
  let widthPx = body.widthPx;
  const rawPlace = (along: number, across: number): Point => body.place(along / lengthPx, across / half);
  let edges: EdgePlace[] = [];
  for (const round of [0, 1]) {
    const place = (along: number, across: number): Point => rawPlace(along, across + course(along));
    const found = followEdges(
      rgb,
      place,
      lengthPx,
      round === 0
        ? [WIDTHS[0] * body.widthPx, Math.max(WIDTHS[1] * body.widthPx, body.widthPx + MAY_BE_WIDER_PX)]
        : [widthPx - 2, widthPx + 2],
      round === 0 ? ASIDE * body.widthPx + 2 : 4,
    );
    if (!found) return null;
    widthPx = found.widthPx;
    const before = course;
    const seen = found.edges;
    const degree = Math.min(round === 0 ? 5 : 6, Math.floor(seen.length / 3));
    const shift = robustPolynomial(
      seen.map((m) => m.alongPx),
      seen.map((m) => (m.lowPx + m.highPx) / 2),
      degree,
    );
    course = (along) => before(along) + shift(along);
    edges = seen.map((m) => {
      const moved = shift(m.alongPx);
      return { ...m, lowPx: m.lowPx - moved, highPx: m.highPx - moved };
    });
  }
  return {
    lengthPx,
    widthPx,
    place: (along, across) => rawPlace(along, across + course(along)),
    edges,
  };
}

interface Followed {
  widthPx: number;
  edges: EdgePlace[];
}

function followEdges(
  rgb: RgbImage,
  place: (along: number, across: number) => Point,
  lengthPx: number,
  widths: readonly [number, number],
  asidePx: number,
): Followed | null {
  const blocks = Math.floor(lengthPx / BLOCK_PX);
  if (blocks < 4) return null;
  const reach = asidePx + widths[1] / 2 + 2;
  const n = 2 * Math.ceil(reach / STEP_PX) + 1;
  const zero = (n - 1) / 2;
  const steps = Array.from({ length: blocks }, (_, b) => stepsAcross(rgb, place, b, n, zero));
  const offsets = Math.floor(asidePx / STEP_PX);
  const count = 2 * offsets + 1;
  const turn = Math.round(TURN_PX / STEP_PX);
  let best: { total: number; path: number[]; width: number } | null = null;
  for (let w = Math.round(Math.max(LEAST_WIDTH_PX, widths[0]) / STEP_PX); w <= widths[1] / STEP_PX; w++) {
    const [left, right] = [Math.floor(w / 2), Math.ceil(w / 2)];
    // the most likely course, by dynamic programming
    let score = new Float64Array(count);
    const from: Int16Array[] = [];
    for (let b = 0; b < blocks; b++) {
      const next = new Float64Array(count);
      const back = new Int16Array(count);
      for (let o = 0; o < count; o++) {
        const at = zero + o - offsets;
        const own = (steps[b]![at - left] ?? 0) + (steps[b]![at + right] ?? 0);
        let most = -Infinity;
        for (let d = -turn; d <= turn; d++) {
          const v = score[o + d];
          if (v === undefined) continue;
          const charged = v - 0.02 * d * d;
          if (charged > most) {
            most = charged;
            back[o] = o + d;
          }
        }
        next[o] = most + own;
      }
      from.push(back);
      score = next;
    }
    let end = 0;
    for (let o = 1; o < count; o++) if (score[o]! > score[end]!) end = o;
    const total = score[end]!;
    if (best && total <= best.total) continue;
    const path = new Array<number>(blocks);
    for (let b = blocks - 1, o = end; b >= 0; b--) {
      path[b] = o - offsets;
      o = from[b]![o]!;
    }
    best = { total, path, width: w };
  }
  if (!best) return null;
  const { path, width } = best;
  const [left, right] = [Math.floor(width / 2), Math.ceil(width / 2)];
  const seen = path.map((o, b) => {
    const lowAt = peakNear(steps[b]!, zero + o - left);
    const highAt = peakNear(steps[b]!, zero + o + right);
    const known = lowAt !== null && highAt !== null;
    const [low, high] = known ? [lowAt, highAt] : [zero + o - width / 2, zero + o + width / 2];
    const least = known ? Math.min(steps[b]![Math.round(low)]!, steps[b]![Math.round(high)]!) : 0;
    return {
      alongPx: (b + 0.5) * BLOCK_PX,
      lowPx: STEP_PX * (low - zero),
      highPx: STEP_PX * (high - zero),
      sigmaPx: known ? 0.2 + 0.15 / Math.max(0.1, least) : HARDLY_SEEN_PX,
      known,
    };
  });
  const widthsSeen = seen
    .filter((m) => m.known)
    .map((m) => m.highPx - m.lowPx)
    .sort((p, q) => p - q);
  if (widthsSeen.length < Math.max(3, blocks / 8)) return null;
  const widthPx = widthsSeen[widthsSeen.length >> 1]!;
  return {
    widthPx,
    edges: seen.map(({ known, ...m }, b) => {
      if (known && Math.abs(m.highPx - m.lowPx - widthPx) < Math.max(2, 0.15 * widthPx)) return m;
      const middle = STEP_PX * path[b]!;
      return { ...m, lowPx: middle - widthPx / 2, highPx: middle + widthPx / 2, sigmaPx: HARDLY_SEEN_PX };
    }),
  };
}

/** How much the colour changes across, at each step, in one block of columns: 0…1. */
function stepsAcross(
  rgb: RgbImage,
  place: (along: number, across: number) => Point,
  block: number,
  n: number,
  zero: number,
): Float64Array {
  const colours = new Float64Array(3 * n);
  const columns = 8;
  for (let c = 0; c < columns; c++) {
    const along = (block + (c + 0.5) / columns) * BLOCK_PX;
    const a = place(along, -zero * STEP_PX);
    const b = place(along, zero * STEP_PX);
    for (let i = 0; i < n; i++) {
      const x = a.x + ((b.x - a.x) * i) / (n - 1);
      const y = a.y + ((b.y - a.y) * i) / (n - 1);
      addColour(rgb, x, y, colours, 3 * i);
    }
  }
  const out = new Float64Array(n);
  const k = 2;
  for (let i = k; i < n - k; i++) {
    let d = 0;
    for (let c = 0; c < 3; c++)
      d += Math.abs(colours[3 * (i + k) + c]! - colours[3 * (i - k) + c]!) / columns;
    out[i] = d / (d + PLAIN);
  }
  return out;
}

function addColour(
  { widthPx, heightPx, data }: RgbImage,
  x: number,
  y: number,
  out: Float64Array,
  at: number,
): void {
  const cx = Math.max(0, Math.min(widthPx - 1.001, x));
  const cy = Math.max(0, Math.min(heightPx - 1.001, y));
  const ix = cx | 0;
  const iy = cy | 0;
  const fx = cx - ix;
  const fy = cy - iy;
  const k = 3 * (iy * widthPx + ix);
  const below = k + 3 * widthPx;
  for (let c = 0; c < 3; c++) {
    const top = data[k + c]! * (1 - fx) + data[k + 3 + c]! * fx;
    const low = data[below + c]! * (1 - fx) + data[below + 3 + c]! * fx;
    out[at + c]! += top * (1 - fy) + low * fy;
  }
}

/** The peak nearest to an index, no further than a pixel, between samples; null where there is none. */
function peakNear(values: Float64Array, at: number): number | null {
  let best = -1;
  for (let i = at - 2; i <= at + 2; i++)
    if (
      values[i]! > 0 &&
      values[i]! >= values[i - 1]! &&
      values[i]! >= values[i + 1]! &&
      (best < 0 || values[i]! > values[best]!)
    )
      best = i;
  if (best < 0) return null;
  const [a, b, c] = [values[best - 1]!, values[best]!, values[best + 1]!];
  const bend = a - 2 * b + c;
  return bend < 0 ? best + (0.5 * (a - c)) / bend : best;
}

/** A polynomial through most of the points: what lies far off is left out, in turns. */
export function robustPolynomial(x: number[], y: number[], degree: number): (x: number) => number {
  let at = fitPolynomial(x, y, Math.min(degree, Math.max(0, x.length - 1)));
  for (let round = 0; round < 4; round++) {
    const off = x.map((v, i) => Math.abs(y[i]! - at(v)));
    const middle = [...off].sort((p, q) => p - q)[off.length >> 1]!;
    const limit = Math.max(0.3, 3.5 * middle);
    const kept = x.map((_, i) => i).filter((i) => off[i]! <= limit);
    if (kept.length < degree + 3) break;
    at = fitPolynomial(
      kept.map((i) => x[i]!),
      kept.map((i) => y[i]!),
      degree,
    );
  }
  return at;
}
