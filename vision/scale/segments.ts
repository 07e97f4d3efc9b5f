import { cv, rgbToMat, withMats, type Mat } from '../cv.ts';
import type { Point, RgbImage } from '../types.ts';

/** A straight run of edge pixels, in the pixels of the picture that was searched. */
export interface Segment {
  a: Point;
  b: Point;
  lengthPx: number;
  /** Unit vector from a to b. */
  dx: number;
  dy: number;
  /** Edge pixels that support it; about `lengthPx` for an unbroken edge. */
  support: number;
  /** Mean colour gradient, grey levels per pixel (Euclidean over R, G, B). */
  strength: number;
}

export interface SegmentOptions {
  /** Shortest segment kept, px. */
  minLengthPx: number;
  /** Weakest colour gradient that counts as an edge, levels per pixel. */
  minGradient: number;
  /** Standard deviation of the blur before differentiation, px. */
  blurPx: number;
}

/**
 * Finds straight edges in a colour picture.
 *
 * The gradient is that of all three channels together (S. Di Zenzo, "A note on the gradient of a
 * multi-image", CVGIP 33, 1986), so that a card which has the table's grey but not its colour still shows.
 * Thinned edge pixels are followed along their tangents, strongest first, for as long as they stay on one straight
 * line (after C. Akinlar and C. Topal, "EDLines", Pattern Recognition Letters 32, 2011).
 */
export function findSegments(rgb: RgbImage, options: SegmentOptions): Segment[] {
  const width = rgb.widthPx;
  const height = rgb.heightPx;
  const data = blurred(rgb, options.blurPx);
  const n = width * height;
  const magnitude = new Float32Array(n);
  const cos2 = new Float32Array(n);
  const sin2 = new Float32Array(n);
  const least = 4 * options.minGradient * options.minGradient; // differences span two pixels
  for (let y = 1; y < height - 1; y++) {
    for (let x = 1, i = y * width + 1, j = 3 * i; x < width - 1; x++, i++, j += 3) {
      const rx = data[j + 3]! - data[j - 3]!;
      const gx = data[j + 4]! - data[j - 2]!;
      const bx = data[j + 5]! - data[j - 1]!;
      const up = j - 3 * width;
      const down = j + 3 * width;
      const ry = data[down]! - data[up]!;
      const gy = data[down + 1]! - data[up + 1]!;
      const by = data[down + 2]! - data[up + 2]!;
      const xx = rx * rx + gx * gx + bx * bx;
      const yy = ry * ry + gy * gy + by * by;
      if (xx + yy < least) continue;
      const xy = rx * ry + gx * gy + bx * by;
      const root = Math.sqrt((xx - yy) * (xx - yy) + 4 * xy * xy);
      const strongest = (xx + yy + root) / 2;
      if (strongest < least || root < 1e-6) continue;
      magnitude[i] = Math.sqrt(strongest) / 2;
      cos2[i] = (xx - yy) / root;
      sin2[i] = (2 * xy) / root;
    }
  }

  // Thin: keep a pixel only if it is the strongest across its edge.
  const edge = new Uint8Array(n);
  const edges: number[] = [];
  let strongestOfAll = 0;
  for (let y = 2; y < height - 2; y++) {
    for (let x = 2, i = y * width + 2; x < width - 2; x++, i++) {
      const m = magnitude[i]!;
      if (m === 0) continue;
      const c = cos2[i]!;
      const s = sin2[i]!;
      const step = c > 0.707 ? 1 : c < -0.707 ? width : s > 0 ? width + 1 : width - 1;
      if (m >= magnitude[i - step]! && m > magnitude[i + step]!) {
        edge[i] = 1;
        edges.push(i);
        if (m > strongestOfAll) strongestOfAll = m;
      }
    }
  }

  const order = strongestFirst(edges, magnitude, strongestOfAll);
  const segments: Segment[] = [];
  for (const seed of order) {
    if (edge[seed] !== 1) continue;
    const segment = follow(seed, { width, height, edge, magnitude, cos2, sin2 });
    if (segment && segment.lengthPx >= options.minLengthPx) segments.push(segment);
  }
  return segments;
}

interface EdgeMap {
  width: number;
  height: number;
  /** 1 = thinned edge, 2 = thinned edge that belongs to a segment. */
  edge: Uint8Array;
  magnitude: Float32Array;
  /** Cosine and sine of twice the gradient's direction. */
  cos2: Float32Array;
  sin2: Float32Array;
}

/** A line that is refitted as it grows: running sums of the pixels that it took. */
class GrowingLine {
  readonly members: number[] = [];
  x = 0;
  y = 0;
  dx = 1;
  dy = 0;
  private sx = 0;
  private sy = 0;
  private xx = 0;
  private xy = 0;
  private yy = 0;

  add(i: number, x: number, y: number): void {
    this.members.push(i);
    this.sx += x;
    this.sy += y;
    this.xx += x * x;
    this.xy += x * y;
    this.yy += y * y;
  }

  refit(): void {
    const n = this.members.length;
    this.x = this.sx / n;
    this.y = this.sy / n;
    const xx = this.xx / n - this.x * this.x;
    const xy = this.xy / n - this.x * this.y;
    const yy = this.yy / n - this.y * this.y;
    const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
    // Keep the sense of direction.
    const sign = Math.cos(angle) * this.dx + Math.sin(angle) * this.dy < 0 ? -1 : 1;
    this.dx = sign * Math.cos(angle);
    this.dy = sign * Math.sin(angle);
  }
}

const MAX_DEVIATION_PX = 1.3;

/**
 * Follows one edge to both sides of a pixel along its tangent, for as long as it stays straight. Parallel edges a
 * pixel or two away (a shadow's, a frame's) and edges that cross are left for segments of their own.
 */
function follow(seed: number, map: EdgeMap): Segment | null {
  const { width, height, edge, magnitude, cos2, sin2 } = map;
  const line = new GrowingLine();
  line.x = seed % width;
  line.y = Math.floor(seed / width);
  const angle = 0.5 * Math.atan2(sin2[seed]!, cos2[seed]!) + Math.PI / 2;
  line.dx = Math.cos(angle);
  line.dy = Math.sin(angle);
  line.add(seed, line.x, line.y);
  edge[seed] = 2;
  let low = 0;
  let high = 0;
  for (const sense of [1, -1]) {
    const start = { x: line.x, y: line.y };
    let t = 0;
    let missed = 0;
    let sinceFit = 0;
    if (line.members.length >= 6) line.refit();
    // After refitting, go on from the seed's foot on the line.
    const seedX = seed % width;
    const seedY = Math.floor(seed / width);
    const foot = (seedX - line.x) * line.dx + (seedY - line.y) * line.dy;
    start.x = line.x + foot * line.dx;
    start.y = line.y + foot * line.dy;
    let reached = 0;
    for (;;) {
      t++;
      const gap = Math.max(3, Math.min(10, 0.12 * line.members.length));
      if (missed > gap) break;
      // Where the line is expected, and one pixel to either side of it.
      const px = start.x + sense * t * line.dx;
      const py = start.y + sense * t * line.dy;
      const tangentC = line.dy * line.dy - line.dx * line.dx; // cosine of twice the normal's direction
      const tangentS = -2 * line.dx * line.dy;
      let best = -1;
      let bestAway = MAX_DEVIATION_PX + (line.members.length < 6 ? 0.4 : 0);
      for (let o = -1; o <= 1; o++) {
        const x = Math.round(px - o * line.dy);
        const y = Math.round(py + o * line.dx);
        if (x < 2 || y < 2 || x >= width - 2 || y >= height - 2) continue;
        const i = y * width + x;
        if (edge[i] !== 1) continue;
        if (cos2[i]! * tangentC + sin2[i]! * tangentS < 0.72) continue; // within 22°
        const away = Math.abs(-(x - px) * line.dy + (y - py) * line.dx);
        if (away < bestAway) {
          bestAway = away;
          best = i;
        }
      }
      if (best < 0) {
        missed++;
        continue;
      }
      missed = 0;
      reached = t;
      edge[best] = 2;
      line.add(best, best % width, Math.floor(best / width));
      if (++sinceFit >= Math.max(3, line.members.length >> 3)) {
        sinceFit = 0;
        if (line.members.length >= 6) {
          line.refit();
          const along = (px - line.x) * line.dx + (py - line.y) * line.dy;
          start.x = line.x + (along - sense * t) * line.dx;
          start.y = line.y + (along - sense * t) * line.dy;
        }
      }
    }
    if (sense === 1) high = reached;
    else low = reached;
  }
  if (high + low < 6 || line.members.length < 0.6 * (high + low)) return null;
  line.refit();
  const { x, y, dx, dy } = line;
  let from = Infinity;
  let to = -Infinity;
  let strength = 0;
  for (const i of line.members) {
    const t = ((i % width) - x) * dx + (Math.floor(i / width) - y) * dy;
    if (t < from) from = t;
    if (t > to) to = t;
    strength += magnitude[i]!;
  }
  return {
    a: { x: x + from * dx, y: y + from * dy },
    b: { x: x + to * dx, y: y + to * dy },
    lengthPx: to - from,
    dx,
    dy,
    support: line.members.length,
    strength: strength / line.members.length,
  };
}

function blurred(rgb: RgbImage, sigmaPx: number): Uint8Array {
  if (sigmaPx <= 0) return rgb.data;
  return withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const out = keep<Mat>(new cv.Mat());
    cv.GaussianBlur(source, out, new cv.Size(0, 0), sigmaPx, sigmaPx, cv.BORDER_REPLICATE);
    return out.data.slice();
  });
}

function strongestFirst(edges: number[], magnitude: Float32Array, strongest: number): Int32Array {
  const bins = 512;
  const counts = new Int32Array(bins + 1);
  const binOf = (i: number): number =>
    bins - 1 - Math.min(bins - 1, Math.floor((magnitude[i]! / (strongest + 1e-6)) * bins));
  for (const i of edges) counts[binOf(i) + 1]!++;
  for (let b = 0; b < bins; b++) counts[b + 1]! += counts[b]!;
  const order = new Int32Array(edges.length);
  for (const i of edges) order[counts[binOf(i)]!++] = i;
  return order;
}

/**
 * Joins pieces of one straight edge across gaps. The pieces stay in the list too: what was joined may have
 * been two edges in line by chance.
 */
export function joinCollinear(segments: Segment[], maxSegments: number): Segment[] {
  const all = [...segments].sort((p, q) => q.lengthPx - p.lengthPx).slice(0, maxSegments);
  const joined: Segment[] = [];
  for (const first of all) {
    let grown = first;
    let parts = 1;
    for (let changed = true; changed;) {
      changed = false;
      for (const other of all) {
        if (other === first || other.lengthPx > grown.lengthPx) continue;
        const merged = tryJoin(grown, other);
        if (merged && merged.lengthPx > grown.lengthPx + 3) {
          grown = merged;
          parts++;
          changed = true;
        }
      }
      if (parts > 12) break;
    }
    if (grown !== first) joined.push(grown);
  }
  const distinct = joined.filter((s, i) => !joined.slice(0, i).some((t) => near(s.a, t.a) && near(s.b, t.b)));
  return [...all, ...distinct];
}

const near = (p: Point, q: Point): boolean => Math.abs(p.x - q.x) < 3 && Math.abs(p.y - q.y) < 3;

/** How far a point lies beside a segment's line, px. */
function acrossOf({ a, dx, dy }: Segment, p: Point): number {
  return Math.abs(-(p.x - a.x) * dy + (p.y - a.y) * dx);
}

/** How far along a segment's line a point lies, px from where it begins. */
function alongOf({ a, dx, dy }: Segment, p: Point): number {
  return (p.x - a.x) * dx + (p.y - a.y) * dy;
}

function tryJoin(s: Segment, t: Segment): Segment | null {
  if (Math.abs(s.dx * t.dy - s.dy * t.dx) > 0.07) return null; // 4°
  if (acrossOf(s, t.a) > 1.6 + 0.006 * (s.lengthPx + t.lengthPx)) return null; // most pairs end here
  const ta = alongOf(s, t.a);
  const tb = alongOf(s, t.b);
  const low = Math.min(ta, tb);
  const high = Math.max(ta, tb);
  const gap = Math.max(low - s.lengthPx, -high);
  if (gap > Math.max(8, 0.6 * Math.min(s.lengthPx, 4 * t.lengthPx))) return null;
  const tolerance = 1.6 + 0.01 * Math.max(0, gap);
  if (acrossOf(s, t.a) > tolerance || acrossOf(s, t.b) > tolerance) return null;
  const ends = [s.a, s.b, t.a, t.b].sort((p, q) => alongOf(s, p) - alongOf(s, q));
  const a = ends[0]!;
  const b = ends[3]!;
  const lengthPx = Math.hypot(b.x - a.x, b.y - a.y);
  return {
    a,
    b,
    lengthPx,
    dx: (b.x - a.x) / lengthPx,
    dy: (b.y - a.y) / lengthPx,
    support: s.support + t.support,
    strength: (s.strength * s.support + t.strength * t.support) / (s.support + t.support),
  };
}
