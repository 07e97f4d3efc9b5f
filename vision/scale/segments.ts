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

/** Shrinks a picture by area averaging so that its longest side is at most `maxSidePx`. */
export function shrink(rgb: RgbImage, maxSidePx: number): { rgb: RgbImage; scale: number } {
  const scale = maxSidePx / Math.max(rgb.widthPx, rgb.heightPx);
  if (scale >= 1) return { rgb, scale: 1 };
  const widthPx = Math.round(rgb.widthPx * scale);
  const heightPx = Math.round(rgb.heightPx * scale);
  const data = withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const small = keep<Mat>(new cv.Mat());
    cv.resize(source, small, new cv.Size(widthPx, heightPx), 0, 0, cv.INTER_AREA);
    return Uint8Array.from(small.data);
  });
  return { rgb: { widthPx, heightPx, data }, scale: widthPx / rgb.widthPx };
}

/**
 * Finds straight edges in a colour picture.
 *
 * The gradient is that of all three channels together (S. Di Zenzo, "A note on the gradient of a
 * multi-image", CVGIP 33, 1986), so that a card which has the table's grey but not its colour still shows.
 * Thinned edge pixels are grown into regions of one orientation, strongest first (after R. Grompone von Gioi
 * et al., "LSD", IPOL 2, 2012), and each region is fitted with a line.
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
  const region: number[] = [];
  const neighbours = neighbourOffsets(width);
  for (const seed of order) {
    if (edge[seed] !== 1) continue;
    region.length = 0;
    region.push(seed);
    edge[seed] = 2;
    let sumC = cos2[seed]!;
    let sumS = sin2[seed]!;
    for (let k = 0; k < region.length; k++) {
      const at = region[k]!;
      for (const offset of neighbours) {
        const to = at + offset;
        if (edge[to] !== 1) continue;
        const norm = Math.hypot(sumC, sumS);
        if (cos2[to]! * sumC + sin2[to]! * sumS < 0.75 * norm) continue; // within about 21°
        edge[to] = 2;
        region.push(to);
        sumC += cos2[to]!;
        sumS += sin2[to]!;
      }
    }
    if (region.length < 0.7 * options.minLengthPx) continue;
    const segment = fitRegion(region, width, magnitude, edge);
    if (segment && segment.lengthPx >= options.minLengthPx) segments.push(segment);
  }
  return segments;
}

function blurred(rgb: RgbImage, sigmaPx: number): Uint8Array {
  if (sigmaPx <= 0) return rgb.data;
  return withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const out = keep<Mat>(new cv.Mat());
    cv.GaussianBlur(source, out, new cv.Size(0, 0), sigmaPx, sigmaPx, cv.BORDER_REPLICATE);
    return Uint8Array.from(out.data);
  });
}

function neighbourOffsets(width: number): number[] {
  // Two pixels far in every direction, so that one missing pixel does not end a region.
  const offsets: number[] = [];
  for (let y = -2; y <= 2; y++) for (let x = -2; x <= 2; x++) if (x || y) offsets.push(y * width + x);
  return offsets.sort((p, q) => Math.abs(p) - Math.abs(q));
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

/** Fits a line to a region; pixels that do not lie on it are freed for other regions. */
function fitRegion(
  region: number[],
  width: number,
  magnitude: Float32Array,
  edge: Uint8Array,
): Segment | null {
  let members = region;
  let line = principalAxis(members, width);
  for (let pass = 0; pass < 2; pass++) {
    const { x: cx, y: cy, dx, dy } = line;
    const kept = members.filter((i) => {
      const x = (i % width) - cx;
      const y = Math.floor(i / width) - cy;
      return Math.abs(-x * dy + y * dx) <= 1.5;
    });
    if (kept.length === members.length) break;
    if (kept.length < 0.4 * region.length || kept.length < 8) return null;
    members = kept;
    line = principalAxis(members, width);
  }
  if (members.length < region.length) {
    const inside = new Set(members);
    for (const i of region) if (!inside.has(i)) edge[i] = 1;
  }
  if (line.rms > 0.9) return null;
  let low = Infinity;
  let high = -Infinity;
  let strength = 0;
  for (const i of members) {
    const t = ((i % width) - line.x) * line.dx + (Math.floor(i / width) - line.y) * line.dy;
    if (t < low) low = t;
    if (t > high) high = t;
    strength += magnitude[i]!;
  }
  return {
    a: { x: line.x + low * line.dx, y: line.y + low * line.dy },
    b: { x: line.x + high * line.dx, y: line.y + high * line.dy },
    lengthPx: high - low,
    dx: line.dx,
    dy: line.dy,
    support: members.length,
    strength: strength / members.length,
  };
}

function principalAxis(
  members: number[],
  width: number,
): { x: number; y: number; dx: number; dy: number; rms: number } {
  let sx = 0;
  let sy = 0;
  for (const i of members) {
    sx += i % width;
    sy += Math.floor(i / width);
  }
  const x = sx / members.length;
  const y = sy / members.length;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const i of members) {
    const ux = (i % width) - x;
    const uy = Math.floor(i / width) - y;
    xx += ux * ux;
    xy += ux * uy;
    yy += uy * uy;
  }
  const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
  const dx = Math.cos(angle);
  const dy = Math.sin(angle);
  const across = xx * dy * dy - 2 * xy * dx * dy + yy * dx * dx;
  return { x, y, dx, dy, rms: Math.sqrt(Math.max(0, across) / members.length) };
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

function tryJoin(s: Segment, t: Segment): Segment | null {
  if (Math.abs(s.dx * t.dy - s.dy * t.dx) > 0.07) return null; // 4°
  const along = (p: Point): number => (p.x - s.a.x) * s.dx + (p.y - s.a.y) * s.dy;
  const across = (p: Point): number => Math.abs(-(p.x - s.a.x) * s.dy + (p.y - s.a.y) * s.dx);
  const ta = along(t.a);
  const tb = along(t.b);
  const low = Math.min(ta, tb);
  const high = Math.max(ta, tb);
  const gap = Math.max(low - s.lengthPx, -high);
  if (gap > Math.max(8, 0.6 * Math.min(s.lengthPx, 4 * t.lengthPx))) return null;
  const tolerance = 1.6 + 0.01 * Math.max(0, gap);
  if (across(t.a) > tolerance || across(t.b) > tolerance) return null;
  const ends = [s.a, s.b, t.a, t.b].sort((p, q) => along(p) - along(q));
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
