import type { Point, RgbImage } from '../types.ts';
import { contains } from '../scale/geometry.ts';
import { cv, rgbToMat, type Mat, withMats } from '../cv.ts';
import { pixelClasses } from './pixelClasses.ts';
import { shrink } from '../shrink.ts';
import type { Segment } from './segmentPiece.ts';

/** The outline, a point every so often, each where piece and table part best. */
export interface FollowedEdge {
  /** Closed, in pixels of the picture given. */
  pointsPx: Point[];
  /** Whether the edge was seen there: 0 hidden or unclear … 1 plain. */
  clear: number[];
  /** Scatter of single places about their neighbours, px of the picture given. */
  scatterPx: number;
}

/** Longest side of the picture that the edge is followed in, px. */
const SIDE_PX = 1600;
const CLASSES = 32;
/** The edge is looked for so far to either side of the rough outline, rough pixels. */
const REACH_STEPS = 5;
const MOST_SAID = 2;
/** What looks that are rare on either side say, for or against, in nats. */
const STRANGE_SAYS = 0.4;
/**
 * The looks tell an edge to a few pixels only: where it is blurred, cloth and table mix to what the gaps between stitches
 * look like, and a shadow looks like neither. The step in colour is looked for from so far inside of where the cloth's looks end to so far
 * outside of where the table's begin, px.
 */
const STEP_WITHIN_PX = 2;
const STEP_BEYOND_PX = 1;
/** Neighbours to either side that are averaged, so that single stitches make no step. */
const STEP_NEIGHBOURS = 2;

/**
 * Moves a rough outline to where the looks change.
 *
 * Across the outline, every place is weighed for piece or table by how often its class of colour occurs just
 * inside and just outside along that stretch; the edge is where all that is said for the piece within and for
 * the table without is greatest: the most likely change point (D. V. Hinkley, Biometrika 57, 1970); close to it, where the
 * colour changes most. Neighbours
 * are weighed together, so that scallops average out and a yarn tail does not count.
 */
export function followEdge(
  rgb: RgbImage,
  segment: Segment,
  options: { hidden?: Point[][]; reachSteps?: number } = {},
): FollowedEdge {
  const { rgb: picture, scale } = shrink(rgb, SIDE_PX);
  const { widthPx: w, heightPx: h } = picture;
  const stepPx = segment.stepPx * scale;
  const rough = spacedEvenly(
    segment.contourPx.map((p) => ({ x: (p.x + 0.5) * scale - 0.5, y: (p.y + 0.5) * scale - 0.5 })),
    Math.max(3, 1.2 * stepPx),
  );
  const line = smoothed(rough, 2);
  const n = line.length;
  const normals = outwardNormals(line);
  const reach = Math.round((options.reachSteps ?? REACH_STEPS) * stepPx);
  const beyond = Math.round(2.5 * reach);
  const where = bandAbout(line, reach + beyond + 2, w, h);
  // Without local contrast: its window carries the cloth's texture out over a plain table.
  const { classOf, count } = pixelClasses(picture, { count: CLASSES, nearPx: 0, farPx: 0, where });
  const lab = labOf(picture);
  const at = (i: number, s: number): number => {
    const x = Math.round(line[i]!.x + s * normals[i]!.x);
    const y = Math.round(line[i]!.y + s * normals[i]!.y);
    return x < 0 || y < 0 || x >= w || y >= h ? -1 : classOf[y * w + x]!;
  };

  // Looks just inside and just outside, gathered along a stretch of the outline.
  const inside = new Float64Array(n * count);
  const outside = new Float64Array(n * count);
  const gap = Math.max(2, Math.round(0.5 * reach));
  for (let i = 0; i < n; i++) {
    // From deeper within than from without: the rough outline may run outside the piece's shadow.
    for (let s = reach; s <= reach + beyond; s++) {
      const a = at(i, -s);
      if (a >= 0) inside[i * count + a]!++;
    }
    for (let s = gap; s <= beyond; s++) {
      const b = at(i, s);
      if (b >= 0) outside[i * count + b]!++;
    }
  }
  const stretch = Math.max(6, Math.round(n / 16));
  const near = {
    inside: runningSum(inside, n, count, stretch),
    outside: runningSum(outside, n, count, stretch),
  };

  const length = 2 * reach + 1;
  const scores = new Float64Array(n * length);
  const strangeness = new Float64Array(n * length);
  const clear: number[] = new Array<number>(n).fill(0);
  const hidden = (options.hidden ?? []).map((polygon) =>
    polygon.map((p) => ({ x: (p.x + 0.5) * scale - 0.5, y: (p.y + 0.5) * scale - 0.5 })),
  );
  const isHidden = line.map((p, i) =>
    hidden.some((polygon) =>
      [-1.2, 0, 1.2].some((k) =>
        contains(polygon, {
          x: p.x + k * 2 * stepPx * normals[i]!.x,
          y: p.y + k * 2 * stepPx * normals[i]!.y,
        }),
      ),
    ),
  );
  for (let i = 0; i < n; i++) {
    let allIn = 0;
    let allOut = 0;
    for (let c = 0; c < count; c++) {
      allIn += near.inside[i * count + c]!;
      allOut += near.outside[i * count + c]!;
    }
    const floor = 0.004;
    let apart = 0;
    const said = new Float64Array(count);
    const strange = new Float64Array(count);
    for (let c = 0; c < count; c++) {
      const p = (near.inside[i * count + c]! + floor * allIn) / (allIn * (1 + count * floor));
      const q = (near.outside[i * count + c]! + floor * allOut) / (allOut * (1 + count * floor));
      strange[c] = STRANGE_SAYS * Math.max(0, 1 - (p + q) / 0.05);
      said[c] = Math.max(-MOST_SAID, Math.min(MOST_SAID, Math.log(p / q)));
      apart += 0.5 * (p - q) * Math.log(p / q);
    }
    // Half the divergence of J. (H. Jeffreys, 1946): 0.5 nats a pixel is plain to see over a few pixels.
    clear[i] = isHidden[i] ? 0 : Math.min(1, apart / 0.6);
    if (isHidden[i]) continue;
    let sum = 0;
    let sumStrange = 0;
    for (let k = 0; k < length; k++) {
      const c = at(i, k - reach);
      sum += c < 0 ? -MOST_SAID : said[c]!;
      sumStrange += c < 0 ? 0 : strange[c]!;
      scores[i * length + k] = sum;
      strangeness[i * length + k] = sumStrange;
    }
  }

  const joined = runningSum(scores, n, length, 2);
  const joinedStrange = runningSum(strangeness, n, length, 2);
  const offset = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    if (isHidden[i]) continue;
    const within = bestPlace(joined, i * length, length, joinedStrange, -1);
    const without = bestPlace(joined, i * length, length, joinedStrange, 1);
    const colour = (s: number): Colour => colourAbout(lab, w, h, line, normals, i, s);
    offset[i] = steepest(colour, within - STEP_WITHIN_PX - reach, without + STEP_BEYOND_PX - reach);
    if (within === 0 || without === length - 1) clear[i] = Math.min(clear[i]!, 0.3);
  }
  const middle = medianAlong(offset, isHidden, 3);
  let squares = 0;
  let seen = 0;
  for (let i = 0; i < n; i++) {
    if (isHidden[i]) continue;
    const d = Math.min(4, Math.abs(offset[i]! - middle[i]!));
    squares += d * d;
    seen++;
  }
  const points = line.map((p, i) => ({
    x: (p.x + middle[i]! * normals[i]!.x + 0.5) / scale - 0.5,
    y: (p.y + middle[i]! * normals[i]!.y + 0.5) / scale - 0.5,
  }));
  const kept = points.map((_, i) => i).filter((i) => !isHidden[i]);
  return {
    pointsPx: kept.map((i) => points[i]!),
    clear: kept.map((i) => clear[i]!),
    scatterPx: Math.sqrt(squares / Math.max(1, seen)) / scale,
  };
}

/** L, a and b, each summed over so many neighbours. */
type Colour = readonly [number, number, number];

function labOf(rgb: RgbImage): Uint8Array {
  return withMats((keep) => {
    const out = keep<Mat>(new cv.Mat());
    cv.cvtColor(keep(rgbToMat(rgb)), out, cv.COLOR_RGB2Lab);
    return Uint8Array.from(out.data);
  });
}

/** Colour `s` px outside of place i of a closed line, its neighbours' added. */
function colourAbout(
  lab: Uint8Array,
  w: number,
  h: number,
  line: readonly Point[],
  normals: readonly Point[],
  i: number,
  s: number,
): Colour {
  const n = line.length;
  const sum: [number, number, number] = [0, 0, 0];
  for (let k = -STEP_NEIGHBOURS; k <= STEP_NEIGHBOURS; k++) {
    const j = (i + k + n) % n;
    const x = Math.max(0, Math.min(w - 1, Math.round(line[j]!.x + s * normals[j]!.x)));
    const y = Math.max(0, Math.min(h - 1, Math.round(line[j]!.y + s * normals[j]!.y)));
    for (let c = 0; c < 3; c++) sum[c]! += lab[3 * (y * w + x) + c]!;
  }
  return sum;
}

/** Where a colour changes most from one pixel pair to the next, between two places: the middle of its step. */
function steepest(colour: (s: number) => Colour, from: number, to: number): number {
  const seen = Array.from({ length: to - from + 4 }, (_, k) => colour(from - 1 + k));
  const change = Array.from({ length: to - from + 1 }, (_, k) => {
    const [a, b, c, d] = [seen[k]!, seen[k + 1]!, seen[k + 2]!, seen[k + 3]!];
    return [0, 1, 2].reduce((sum, q) => sum + (a[q]! + b[q]! - c[q]! - d[q]!) ** 2, 0);
  });
  const best = change.indexOf(Math.max(...change));
  let weight = 0;
  let moment = 0;
  for (let k = Math.max(0, best - 2); k <= Math.min(change.length - 1, best + 2); k++) {
    weight += change[k]!;
    moment += change[k]! * k;
  }
  // A change between a pixel and the next lies half a pixel on.
  return from + (weight > 0 ? moment / weight : best) + 0.5;
}

/** Where most is said for piece before and table after, looks that are strange to both counted as one or the other. */
function bestPlace(
  scores: Float64Array,
  from: number,
  length: number,
  strange: Float64Array,
  sign: 1 | -1,
): number {
  const middle = (length - 1) / 2;
  let best = middle;
  let most = -Infinity;
  for (let k = 0; k < length; k++) {
    // Held gently to the rough outline where nothing speaks for one place above another.
    const value = scores[from + k]! + sign * strange[from + k]! - 0.02 * Math.abs(k - middle);
    if (value > most) {
      most = value;
      best = k;
    }
  }
  return best;
}

/** Pixels in squares of half a side `reach` about the points of a line. */
function bandAbout(line: Point[], reach: number, w: number, h: number): Uint8Array {
  const mask = new Uint8Array(w * h);
  for (const p of line) {
    const x0 = Math.max(0, Math.floor(p.x - reach));
    const x1 = Math.min(w, Math.ceil(p.x + reach));
    for (let y = Math.max(0, Math.floor(p.y - reach)); y < Math.min(h, p.y + reach); y++)
      if (x1 > x0) mask.fill(1, y * w + x0, y * w + x1);
  }
  return mask;
}

/** A closed line with points the same distance apart. */
export function spacedEvenly(line: Point[], spacing: number): Point[] {
  const out: Point[] = [];
  const total = line.reduce((sum, p, i) => {
    const q = line[(i + 1) % line.length]!;
    return sum + Math.hypot(q.x - p.x, q.y - p.y);
  }, 0);
  const count = Math.max(24, Math.round(total / spacing));
  let i = 0;
  let walked = 0;
  for (let k = 0; k < count; k++) {
    const target = (k * total) / count;
    for (;;) {
      const p = line[i % line.length]!;
      const q = line[(i + 1) % line.length]!;
      const step = Math.hypot(q.x - p.x, q.y - p.y);
      if (walked + step >= target || i > 2 * line.length) {
        const t = step > 0 ? (target - walked) / step : 0;
        out.push({ x: p.x + t * (q.x - p.x), y: p.y + t * (q.y - p.y) });
        break;
      }
      walked += step;
      i++;
    }
  }
  return out;
}

function smoothed(line: Point[], radius: number): Point[] {
  const n = line.length;
  return line.map((_, i) => {
    let x = 0;
    let y = 0;
    for (let k = -radius; k <= radius; k++) {
      const p = line[(i + k + n) % n]!;
      x += p.x;
      y += p.y;
    }
    return { x: x / (2 * radius + 1), y: y / (2 * radius + 1) };
  });
}

function outwardNormals(line: Point[]): Point[] {
  const n = line.length;
  let area = 0;
  line.forEach((p, i) => {
    const q = line[(i + 1) % n]!;
    area += p.x * q.y - q.x * p.y;
  });
  const side = Math.sign(area) || 1;
  return line.map((_, i) => {
    const a = line[(i - 2 + n) % n]!;
    const b = line[(i + 2) % n]!;
    const length = Math.hypot(b.x - a.x, b.y - a.y) || 1;
    return { x: (side * (b.y - a.y)) / length, y: (-side * (b.x - a.x)) / length };
  });
}

/** For each place of a ring, the sum over `radius` places to either side, for every one of `width` columns. */
function runningSum(values: Float64Array, n: number, width: number, radius: number): Float64Array {
  const out = new Float64Array(n * width);
  const current = new Float64Array(width);
  const add = (i: number, sign: number) => {
    const from = (((i % n) + n) % n) * width;
    for (let c = 0; c < width; c++) current[c]! += sign * values[from + c]!;
  };
  for (let i = -radius; i <= radius; i++) add(i, 1);
  for (let i = 0; i < n; i++) {
    out.set(current, i * width);
    add(i + radius + 1, 1);
    add(i - radius, -1);
  }
  return out;
}

function medianAlong(values: Float64Array, skip: boolean[], radius: number): Float64Array {
  const n = values.length;
  return values.map((_, i) => {
    const some: number[] = [];
    for (let k = -radius; k <= radius; k++) {
      const j = (i + k + n) % n;
      if (!skip[j]) some.push(values[j]!);
    }
    if (some.length === 0) return 0;
    some.sort((a, b) => a - b);
    return some.length % 2
      ? some[some.length >> 1]!
      : (some[some.length / 2 - 1]! + some[some.length / 2]!) / 2;
  });
}
