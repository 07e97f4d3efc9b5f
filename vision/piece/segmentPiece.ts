import { cv, type Mat, type MatVector, withMats } from '../cv.ts';
import { shrink } from '../shrink.ts';
import type { Point, RgbImage } from '../types.ts';
import { type Band, bandBeside, DEEPEST_BORDER } from './bandBeside.ts';
import { halvesOf } from './halvesOf.ts';
import { MOST_SAID, pixelClasses } from './pixelClasses.ts';
import { rimOf } from './rimOf.ts';
import { unevennessOf } from './unevennessOf.ts';

export interface SegmentOptions {
  /** Things of known size that lie in the picture: neither piece nor table. */
  hidden?: Point[][];
  /** Where the reader saw cloth. */
  clothPx?: Point[];
  /** The maker's own four corners: the piece is what lies between them. */
  cornersPx?: Point[];
}

export interface Segment {
  /** Rough outline, clockwise or not, pixels of `rgb`. */
  contourPx: Point[];
  /** Pixels of `rgb` to one pixel of the picture that was segmented: how rough the outline is. */
  stepPx: number;
  /** Share of the picture that is piece. */
  share: number;
  /** Share of the outline that runs along the picture's rim. */
  cutOff: number;
  /** How much of the outline's surroundings, inside, looks unlike the rest of the piece (0…1). */
  rimUnlike: number;
  /** How deep the margin is that was taken for a border though it looks unlike the rest, pixels of `rgb`. */
  borderPx?: number;
  /** Share of the cloth seen by the reader that is inside, and of the inside that the reader saw; null without. */
  clothInside: number | null;
  insideCloth: number | null;
}

/** Longest side of the picture that is segmented, px. */
const SIDE_PX = 512;
const CLASSES = 40;
const ROUNDS = 8;
/** From this share of its outline along the picture's edge on (`cutOff`) something leaves the picture. */
const LEAVES_PICTURE = 0.04;

/**
 * Tells a whole piece from the floor, bed or table it lies on.
 *
 * The pixels are sorted into classes of colour and texture. What stands in the middle (or where the reader saw
 * cloth) starts as piece, the rim as table; then in turns the share of each class in both is counted and every
 * place is told anew from the classes around it (expectation and maximisation: A. P. Dempster, N. M. Laird and
 * D. B. Rubin, J. R. Stat. Soc. B 39, 1977). Patterned blankets on patterned tables are told apart by their mix.
 *
 * @returns null when nothing stands out
 */
export function segmentPiece(rgb: RgbImage, options: SegmentOptions = {}): Segment | null {
  const { rgb: small, scale } = shrink(rgb, SIDE_PX);
  const { widthPx: w, heightPx: h } = small;
  const n = w * h;
  const toSmall = (p: Point): Point => ({ x: (p.x + 0.5) * scale - 0.5, y: (p.y + 0.5) * scale - 0.5 });
  const known = new Uint8Array(n).fill(1);
  for (const polygon of options.hidden ?? []) {
    const mask = fill(w, h, polygon.map(toSmall), 3);
    for (let i = 0; i < n; i++) if (mask[i]) known[i] = 0;
  }
  const cloth = options.clothPx ? fill(w, h, options.clothPx.map(toSmall), 0) : null;
  const given = options.cornersPx ? fill(w, h, options.cornersPx.map(toSmall), 0) : null;
  const { classOf, count } = pixelClasses(small, { count: CLASSES, nearPx: 2, farPx: 7 });

  const hidden = (options.hidden ?? []).map((polygon) => fill(w, h, polygon.map(toSmall), 4));
  const near = pixelClasses(small, { count: CLASSES, nearPx: 1, farPx: 0 });
  const grid = { w, h, scale, cloth, given, known, hidden, ...near };
  if (given) return describe(Float32Array.from(given), grid)?.segment ?? null;
  const find = (start: Float32Array): Found | null => {
    const piece = toldApart(start, { classOf, count, known, w, h });
    drawNearer(piece, grid);
    return describe(piece, grid);
  };
  let found = find(startFrom(w, h, cloth));
  for (let deeper = 0; found && deeper < 2; deeper++) {
    const { segment, mask } = found;
    if (segment.rimUnlike < 0.4 && segment.cutOff < LEAVES_PICTURE) break;
    // What was found may be a rug or table with the piece on it, or a piece with a border of its own look.
    const inner = find(startWithin(mask, w, h));
    if (!inner || inner.segment.share < 0.15 * segment.share || inner.segment.share > 0.94 * segment.share)
      break;
    const { uneven, depth } =
      segment.cutOff < LEAVES_PICTURE
        ? marginBetween(mask, inner.mask, w, h)
        : { uneven: Infinity, depth: 0 };
    if (uneven < EVEN) {
      found = { mask, segment: { ...segment, rimUnlike: 0, borderPx: depth / scale } };
      break;
    }
    // Between a border worked unevenly and a blanket laid neatly on its rug only the maker can decide.
    if (uneven < PLAINLY_UNEVEN) {
      found = { mask, segment: { ...segment, rimUnlike: 1 } };
      break;
    }
    found = inner;
  }
  // Where the middle shows more of the table than of the piece, the table is found, and it leaves the picture.
  if (!found || found.segment.cutOff >= LEAVES_PICTURE) {
    const start = startOffRim(grid);
    const other = find(start);
    if (
      other &&
      other.segment.cutOff < LEAVES_PICTURE &&
      other.segment.share >= LEAST_OFF_RIM &&
      isMostOf(start, other.mask)
    )
      return { ...other.segment, rimUnlike: 1 };
  }
  return found && withBorder(found, find, grid).segment;
}

/** What is smaller than this share of the picture is a part of something, or a thing beside it. */
const LEAST_OFF_RIM = 0.05;
/** The picture's rim, of its shorter side. */
const RIM = 0.06;
/** So much less often than elsewhere a look is seen at the rim that is the piece's. */
const SELDOM = 0.1;

/** Of what hardly occurs at the rim so much is the piece: of a striped piece that leaves the picture one stripe is less. */
const MOST_OFF_RIM = 0.6;

function isMostOf(start: Float32Array, mask: Uint8Array): boolean {
  let all = 0;
  let within = 0;
  for (let i = 0; i < start.length; i++) {
    if (start[i]! < 0.5) continue;
    all++;
    if (mask[i]) within++;
  }
  return within > MOST_OFF_RIM * all;
}

/** A start from looks that hardly occur at the picture's rim. */
function startOffRim({ w, h, classOf, count, known }: Grid): Float32Array {
  const margin = RIM * Math.min(w, h);
  const atRim = new Float64Array(count);
  const all = new Float64Array(count).fill(1);
  let rim = 0;
  let total = 1;
  for (let i = 0; i < classOf.length; i++) {
    if (!known[i]) continue;
    const [x, y] = [i % w, Math.floor(i / w)];
    total++;
    all[classOf[i]!]!++;
    if (Math.min(x, y, w - 1 - x, h - 1 - y) >= margin) continue;
    rim++;
    atRim[classOf[i]!]!++;
  }
  return Float32Array.from(classOf, (c) => (atRim[c]! / all[c]! < (SELDOM * rim) / total ? 0.9 : 0.1));
}

interface Found {
  segment: Segment;
  mask: Uint8Array;
}

/** Expectation and maximisation from a start: the probability of piece, pixel by pixel. */
function toldApart(
  start: Float32Array,
  { classOf, count, known, w, h }: Pick<Grid, 'classOf' | 'count' | 'known' | 'w' | 'h'>,
): Float32Array {
  const piece = Float32Array.from(start, (v, i) => (known[i] ? v : 0.5));
  for (let round = 0; round < ROUNDS; round++) {
    const said = evidence(classOf, count, piece, known);
    // Wide windows first, so that patterns are judged by their mix; narrow ones last, for the outline.
    const radius = round < 3 ? 9 : round < 6 ? 6 : 4;
    const mean = boxMean(said, known, w, h, radius);
    const close = boxMean(said, known, w, h, Math.max(1, radius >> 2));
    const trust = round < 2 ? 1.2 : 0.35;
    for (let i = 0; i < piece.length; i++) {
      const before = Math.log(start[i]! / (1 - start[i]!));
      piece[i] = 1 / (1 + Math.exp(-(3 * mean[i]! + 1.2 * close[i]! + trust * before)));
    }
  }
  return piece;
}

/** A start for what lies inside something found: its rim counts as table. */
function startWithin(mask: Uint8Array, w: number, h: number): Float32Array {
  const depth = distanceInside(mask, w, h, true);
  const deepest = depth.reduce((a, b) => Math.max(a, b), 0);
  return depth.map((d) => 0.03 + 0.88 / (1 + Math.exp(-(d / deepest - 0.36) / 0.07)));
}

/** Depths of a border's sides differ by less than this share of their mean; those of a rug's margin by more. */
const EVEN = 0.35;
const PLAINLY_UNEVEN = 0.6;

/**
 * How deep a margin is, px, and how unlike its four sides are: the difference between its deepest and its shallowest half
 * side over their mean. A border is as deep on one side as on the other; a rug's margin hardly ever is.
 */
function marginBetween(
  outer: Uint8Array,
  inner: Uint8Array,
  w: number,
  h: number,
): { uneven: number; depth: number } {
  const depth = distanceInside(outer, w, h);
  const points = rimOf(inner, w, h).map(({ x, y }) => ({ x, y, depth: depth[y * w + x]! }));
  if (points.length < 40) return { uneven: Infinity, depth: 0 };
  const halfAt = halvesOf(points);
  const halves: number[][] = Array.from({ length: 8 }, () => []);
  for (const p of points) {
    const half = halfAt(p.x, p.y);
    if (half >= 0) halves[half]!.push(p.depth);
  }
  const depths = halves.map((half) => half.sort((a, b) => a - b)[half.length >> 1] ?? 0);
  const mean = depths.reduce((sum, d) => sum + d, 0) / halves.length;
  return { uneven: unevennessOf(depths, mean), depth: mean };
}

/** Windows of texture blur the edge; beyond this distance from it they do not matter, px. */
const BLUR_PX = 12;

/**
 * Puts the edge where colours change: close to it, classes with hardly any window are judged by what they are
 * farther in and farther out.
 */
function drawNearer(piece: Float32Array, { w, h, known, classOf, count }: Grid): void {
  const mask = Uint8Array.from(piece, (v) => (v > 0.5 ? 255 : 0));
  const inside = distanceInside(mask, w, h);
  const outside = distanceInside(
    mask.map((v) => 255 - v),
    w,
    h,
  );
  const sure = piece.map((_, i) => (inside[i]! > BLUR_PX ? 1 : 0));
  const counts = known.map((k, i) => (k && (inside[i]! > BLUR_PX || outside[i]! > BLUR_PX) ? 1 : 0));
  const said = evidence(classOf, count, sure, counts);
  const mean = boxMean(said, known, w, h, 2);
  for (let i = 0; i < piece.length; i++) {
    if (inside[i]! <= BLUR_PX && outside[i]! <= BLUR_PX) piece[i] = 1 / (1 + Math.exp(-4 * mean[i]!));
  }
}

/** Probability of piece before looking: high where cloth was seen or in the middle, low at the rim. */
function startFrom(w: number, h: number, seed: Uint8Array | null): Float32Array {
  const out = new Float32Array(w * h);
  const seedBlur = seed ? blurred(seed, w, h, 8) : null;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const fromRim = Math.min(x, y, w - 1 - x, h - 1 - y) / Math.min(w, h);
      const middle = 0.04 + 0.86 / (1 + Math.exp(-(fromRim - 0.17) / 0.05));
      out[i] = seedBlur
        ? Math.min(0.95, Math.max(0.04, 0.15 * middle + 0.85 * (0.06 + 0.88 * seedBlur[i]!)))
        : middle;
    }
  }
  return out;
}

/** For every pixel: ln(share of its class in the piece ÷ its share in the table), held within bounds. */
function evidence(classOf: Uint8Array, count: number, piece: Float32Array, known: Uint8Array): Float32Array {
  const inside = new Float64Array(count).fill(2);
  const outside = new Float64Array(count).fill(2);
  let all = 0;
  let none = 0;
  for (let i = 0; i < piece.length; i++) {
    if (!known[i]) continue;
    inside[classOf[i]!]! += piece[i]!;
    outside[classOf[i]!]! += 1 - piece[i]!;
    all += piece[i]!;
    none += 1 - piece[i]!;
  }
  const said = Float32Array.from(inside, (v, c) =>
    Math.max(-MOST_SAID, Math.min(MOST_SAID, Math.log(v / (all + 1)) - Math.log(outside[c]! / (none + 1)))),
  );
  return Float32Array.from(classOf, (c) => said[c]!);
}

function boxMean(
  values: Float32Array,
  known: Uint8Array,
  w: number,
  h: number,
  radius: number,
): Float32Array {
  return withMats((keep) => {
    const sum = keep<Mat>(new cv.Mat(h, w, cv.CV_32FC1));
    const weight = keep<Mat>(new cv.Mat(h, w, cv.CV_32FC1));
    const sums = sum.data32F;
    const weights = weight.data32F;
    for (let i = 0; i < values.length; i++) {
      sums[i] = known[i] ? values[i]! : 0;
      weights[i] = known[i]!;
    }
    const size = new cv.Size(2 * radius + 1, 2 * radius + 1);
    const anchor = new cv.Point(-1, -1);
    cv.boxFilter(sum, sum, -1, size, anchor, true, cv.BORDER_REFLECT);
    cv.boxFilter(weight, weight, -1, size, anchor, true, cv.BORDER_REFLECT);
    const out = Float32Array.from(sum.data32F);
    const w32 = weight.data32F;
    for (let i = 0; i < out.length; i++) out[i] = out[i]! / Math.max(1e-3, w32[i]!);
    return out;
  });
}

interface Grid {
  w: number;
  h: number;
  scale: number;
  cloth: Uint8Array | null;
  given: Uint8Array | null;
  classOf: Uint8Array;
  count: number;
  known: Uint8Array;
  /** Masks of the things that hide what lies below. */
  hidden: Uint8Array[];
}

/** The piece as one closed outline: holes filled, tails and hooks cut off, corners kept. */
function describe(piece: Float32Array, grid: Grid): Found | null {
  const { w, h, scale, cloth, given } = grid;
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    mask.data.set(piece.map((v) => (v > 0.5 ? 255 : 0)));
    const disc = (radius: number) =>
      keep<Mat>(cv.getStructuringElement(cv.MORPH_ELLIPSE, new cv.Size(2 * radius + 1, 2 * radius + 1)));
    // What lies under a sheet cannot be seen: it is piece only where piece is all around.
    for (const one of grid.hidden) for (let i = 0; i < one.length; i++) if (one[i]) mask.data[i] = 0;
    const without = largest(mask, w, h);
    if (!without) return null;
    for (const one of grid.hidden) {
      if (shareBeside(one, without.mask, w) < 0.55) continue;
      for (let i = 0; i < one.length; i++) if (one[i]) mask.data[i] = 255;
    }
    const whole = largest(mask, w, h);
    if (!whole) return null;
    // The rim counts as piece while thin things are cut off, so that a piece that leaves the picture is not rounded.
    const radius = given ? 0 : Math.max(3, Math.round(0.055 * Math.sqrt(whole.area)));
    let clean = whole.mask;
    if (radius > 0) {
      const padded = keep<Mat>(new cv.Mat());
      const from = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
      from.data.set(whole.mask);
      const pad = radius + 2;
      cv.copyMakeBorder(from, padded, pad, pad, pad, pad, cv.BORDER_REPLICATE, new cv.Scalar());
      cv.morphologyEx(padded, padded, cv.MORPH_CLOSE, disc(4));
      const opened = keep<Mat>(new cv.Mat());
      cv.morphologyEx(padded, opened, cv.MORPH_OPEN, disc(radius));
      // What opening took off: corners reach 0.41 radii beyond it, tails and hooks reach further.
      const far = keep<Mat>(new cv.Mat());
      cv.dilate(opened, far, disc(Math.max(1, Math.round(0.62 * radius))));
      const rest = keep<Mat>(new cv.Mat());
      cv.subtract(padded, opened, rest);
      const kept = withoutFarParts(rest, far, opened);
      const out = new Uint8Array(w * h);
      for (let y = 0; y < h; y++) {
        for (let x = 0; x < w; x++) out[y * w + x] = kept[(y + pad) * padded.cols + x + pad]!;
      }
      clean = out;
    }
    const final = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    final.data.set(clean);
    const found = largest(final, w, h);
    if (!found || found.area < 0.01 * w * h) return null;
    const { contour } = found;
    const rim = contour.filter((p) => p.x <= 2 || p.y <= 2 || p.x >= w - 3 || p.y >= h - 3).length;
    const overlap = cloth && overlapOf(cloth, found.mask);
    const segment = {
      contourPx: contour.map((p) => ({ x: (p.x + 0.5) / scale - 0.5, y: (p.y + 0.5) / scale - 0.5 })),
      stepPx: 1 / scale,
      share: found.area / (w * h),
      cutOff: rim / contour.length,
      rimUnlike: given ? 0 : unlikeRim(found.mask, grid),
      clothInside: overlap && overlap.ofFirst,
      insideCloth: overlap && overlap.ofSecond,
    };
    return { segment, mask: found.mask };
  });
}

/** Opened mask plus those of its cut-off parts that stay close to it. */
function withoutFarParts(rest: Mat, far: Mat, opened: Mat): Uint8Array {
  return withMats((keep) => {
    const labels = keep<Mat>(new cv.Mat());
    const count = cv.connectedComponents(rest, labels, 8, cv.CV_32S) as number;
    const reaches = new Uint8Array(count);
    const ids = labels.data32S;
    for (let i = 0; i < ids.length; i++) if (ids[i]! > 0 && !far.data[i]) reaches[ids[i]!] = 1;
    // Near parts of far ones stay too: a tail is cut where it leaves the edge, not the corner beside it.
    return Uint8Array.from(opened.data, (v, i) => (v || (ids[i]! > 0 && !reaches[ids[i]!]) ? 255 : 0));
  });
}

/** Share of the rim of `one`, just outside it, that is in `mask`. */
function shareBeside(one: Uint8Array, mask: Uint8Array, w: number): number {
  let rim = 0;
  let beside = 0;
  for (let i = 3 * w; i < one.length - 3 * w; i++) {
    if (one[i]) continue;
    for (const [near, far] of [
      [1, 3],
      [-1, -3],
      [w, 3 * w],
      [-w, -3 * w],
    ] as const) {
      if (!one[i + near]) continue;
      rim++;
      if (mask[i - far + near]) beside++;
    }
  }
  return rim ? beside / rim : 0;
}

/** The largest part of a mask, holes filled. */
function largest(
  mask: Mat,
  w: number,
  h: number,
): { mask: Uint8Array; contour: Point[]; area: number } | null {
  return withMats((keep) => {
    const contours = keep<MatVector>(new cv.MatVector());
    const tree = keep<Mat>(new cv.Mat());
    cv.findContours(mask, contours, tree, cv.RETR_EXTERNAL, cv.CHAIN_APPROX_NONE);
    let best = -1;
    let most = 0;
    const middle = (p: { x: number; y: number }) =>
      Math.exp(-4 * (((p.x - w / 2) / w) ** 2 + ((p.y - h / 2) / h) ** 2));
    let area = 0;
    for (let i = 0; i < contours.size(); i++) {
      const contour = keep<Mat>(contours.get(i));
      const size = cv.contourArea(contour) as number;
      const d = contour.data32S;
      let x = 0;
      let y = 0;
      for (let k = 0; k < contour.rows; k++) {
        x += d[2 * k]! / contour.rows;
        y += d[2 * k + 1]! / contour.rows;
      }
      const weight = size * middle({ x, y });
      if (weight > most) {
        most = weight;
        best = i;
        area = size;
      }
    }
    if (best < 0 || area < 30) return null;
    const filled = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1, new cv.Scalar(0)));
    cv.drawContours(filled, contours, best, new cv.Scalar(255), -1);
    const line = keep<Mat>(contours.get(best));
    const contour: Point[] = [];
    for (let k = 0; k < line.rows; k++)
      contour.push({ x: line.data32S[2 * k]!, y: line.data32S[2 * k + 1]! });
    return { mask: Uint8Array.from(filled.data), contour, area };
  });
}

function overlapOf(a: Uint8Array, b: Uint8Array): { ofFirst: number; ofSecond: number } {
  let both = 0;
  let first = 0;
  let second = 0;
  for (let i = 0; i < a.length; i++) {
    if (a[i]) first++;
    if (b[i]) second++;
    if (a[i] && b[i]) both++;
  }
  return { ofFirst: both / Math.max(1, first), ofSecond: both / Math.max(1, second) };
}

/**
 * How unlike the rest of the inside its rim is: a rug's margin around a blanket looks like neither. A border
 * in a colour of its own is unlike too, so this asks for a second look and no more.
 */
function unlikeRim(mask: Uint8Array, { w, h, classOf, count, known }: Grid): number {
  const depth = distanceInside(mask, w, h);
  const deepest = depth.reduce((a, b) => Math.max(a, b), 0);
  const rim = new Float64Array(count).fill(0.5);
  const core = new Float64Array(count).fill(0.5);
  let rimAll = 0.5 * count;
  let coreAll = 0.5 * count;
  for (let i = 0; i < mask.length; i++) {
    if (!mask[i] || !known[i] || depth[i]! < 4) continue;
    if (depth[i]! < 4 + 0.16 * deepest) {
      rim[classOf[i]!]!++;
      rimAll++;
    } else if (depth[i]! > 0.35 * deepest) {
      core[classOf[i]!]!++;
      coreAll++;
    }
  }
  // Share of the rim whose looks the core does not have (1 − histogram intersection).
  let shared = 0;
  for (let c = 0; c < count; c++) shared += Math.min(rim[c]! / rimAll, (1.5 * core[c]!) / coreAll);
  return Math.max(0, 1 - shared);
}

/** Below this share, what lies right beside the outline is not what lies farther off. */
const LIKE_TABLE = 0.35;
/** Below this share some of it may not be. */
const PARTLY_LIKE_TABLE = 0.6;
/** Share of what lies between two outlines that looks like what lies within the inner one, where both are one piece. */
const LIKE_PIECE = 0.2;
/** Unevenness up to which a band that ends so plainly all round is a border. */
const PLAINLY_A_BAND = 0.2;
/** Unevenness up to which what lies around is a border, and from which it is a rug; between, the maker is asked. */
const SURELY_EVEN = 0.15;
const SURELY_UNEVEN = 0.4;

/**
 * What was found may be without its border, when that has a colour which the rest hardly has: the reader sees stitches
 * inside, so that the search begins there. Where what lies beside the outline is not the table that lies farther off, it
 * is looked for once more from farther out: an even margin is a border, an uneven one a rug. Where a border was found on some
 * of the sides only, what lies between the two outlines looks like what lies within, and the maker is asked.
 */
function withBorder(inner: Found, find: (start: Float32Array) => Found | null, grid: Grid): Found {
  const { w, h } = grid;
  const { mask, segment } = inner;
  if (segment.cutOff >= LEAVES_PICTURE) return inner;
  const depth = distanceInside(mask, w, h);
  const away = distanceInside(
    mask.map((v) => 255 - v),
    w,
    h,
  );
  const deepest = depth.reduce((a, b) => Math.max(a, b), 0);
  const unlike: Found = { mask, segment: { ...segment, rimUnlike: 1 } };
  const band = bandBeside(mask, away, deepest, grid);
  if (band && band.uneven < PLAINLY_A_BAND) {
    const outer = asFarAs(band, mask, away, grid);
    if (outer && outer.segment.cutOff < LEAVES_PICTURE && outer.segment.share > 1.02 * segment.share)
      return {
        mask: outer.mask,
        segment: { ...outer.segment, rimUnlike: 0, borderPx: band.depth / grid.scale },
      };
  }
  if (band && band.uneven < SURELY_UNEVEN) return unlike;
  const likeTable = besideLikeBeyond(away, deepest, grid);
  if (likeTable >= PARTLY_LIKE_TABLE) return inner;
  const outer = find(
    away.map((d) => (d === 0 ? 0.91 : 0.03 + 0.88 / (1 + Math.exp((d / deepest - 0.2) / 0.06)))),
  );
  if (!outer || outer.segment.cutOff >= LEAVES_PICTURE || outer.segment.share < 1.02 * segment.share)
    return inner;
  const margin = Math.sqrt(outer.segment.share / segment.share) - 1;
  const { uneven, depth: borderDepth } = marginBetween(outer.mask, mask, w, h);
  // A border of which a part was found looks like that part.
  const isPartOfIt = betweenLikeWithin(outer.mask, mask, grid) > LIKE_PIECE;
  if (margin > DEEPEST_BORDER || (!isPartOfIt && (uneven >= SURELY_UNEVEN || likeTable >= LIKE_TABLE)))
    return inner;
  if (uneven < SURELY_EVEN)
    return {
      mask: outer.mask,
      segment: { ...outer.segment, rimUnlike: 0, borderPx: borderDepth / grid.scale },
    };
  return unlike;
}

/** An outline grown by what lies beside it; where that ends, and at the corners, each place is told by the looks about it. */
function asFarAs({ depth, said }: Band, mask: Uint8Array, away: Float32Array, grid: Grid): Found | null {
  const { w, h, classOf, known } = grid;
  const looks = boxMean(
    Float32Array.from(classOf, (c) => said[c]!),
    known,
    w,
    h,
    2,
  );
  const piece = away.map((d, i) => {
    if (mask[i] || d < 0.6 * depth) return 1;
    // Corners lie farther off than sides.
    return d < 1.5 * depth && looks[i]! > 0 ? 1 : 0;
  });
  return describe(piece, grid);
}

/** Share of what lies between two outlines that looks like what lies within the inner one (histogram intersection). */
function betweenLikeWithin(outer: Uint8Array, inner: Uint8Array, { classOf, count, known }: Grid): number {
  const between = new Float64Array(count);
  const within = new Float64Array(count);
  for (let i = 0; i < outer.length; i++) {
    if (!known[i]) continue;
    if (inner[i]) within[classOf[i]!]!++;
    else if (outer[i]) between[classOf[i]!]!++;
  }
  const all = between.reduce((sum, n) => sum + n, 0);
  return all === 0 ? 0 : between.reduce((sum, n, c) => sum + Math.min(n, within[c]!), 0) / all;
}

/** Share of what lies just outside an outline that looks like what lies farther off (histogram intersection). */
function besideLikeBeyond(away: Float32Array, deepest: number, { classOf, count, known }: Grid): number {
  const width = Math.max(6, 0.1 * deepest);
  const beside = new Float64Array(count);
  const beyond = new Float64Array(count);
  let besideAll = 0;
  let beyondAll = 0;
  for (let i = 0; i < away.length; i++) {
    if (!known[i]) continue;
    if (away[i]! >= 4 && away[i]! < 4 + width) {
      beside[classOf[i]!]!++;
      besideAll++;
    } else if (away[i]! > 4 + 4 * width) {
      beyond[classOf[i]!]!++;
      beyondAll++;
    }
  }
  // Without anything farther off nothing speaks against it.
  if (besideAll === 0 || beyondAll < besideAll / 2) return 1;
  return beside.reduce((sum, n, c) => sum + Math.min(n / besideAll, (1.5 * beyond[c]!) / beyondAll), 0);
}

/** Distance of every pixel of a mask from what is not; `walled`: the picture's rim is not, either. */
function distanceInside(mask: Uint8Array, w: number, h: number, walled = false): Float32Array {
  return withMats((keep) => {
    const source = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    source.data.set(mask);
    if (walled) cv.rectangle(source, new cv.Point(0, 0), new cv.Point(w - 1, h - 1), new cv.Scalar(0), 1);
    const out = keep<Mat>(new cv.Mat());
    cv.distanceTransform(source, out, cv.DIST_L2, 3);
    return Float32Array.from(out.data32F);
  });
}

/** 1 inside a polygon (grown by so many pixels), else 0. */
function fill(w: number, h: number, polygon: Point[], growPx: number): Uint8Array {
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1, new cv.Scalar(0)));
    const list = keep<MatVector & { push_back(m: Mat): void }>(new cv.MatVector());
    const flat = polygon.flatMap((p) => [Math.round(p.x), Math.round(p.y)]);
    list.push_back(keep<Mat>(cv.matFromArray(polygon.length, 1, cv.CV_32SC2, flat)));
    cv.fillPoly(mask, list, new cv.Scalar(1));
    if (growPx > 0) {
      const size = new cv.Size(2 * growPx + 1, 2 * growPx + 1);
      cv.dilate(mask, mask, keep<Mat>(cv.getStructuringElement(cv.MORPH_ELLIPSE, size)));
    }
    return Uint8Array.from(mask.data);
  });
}

function blurred(mask: Uint8Array, w: number, h: number, sigmaPx: number): Float32Array {
  return withMats((keep) => {
    const source = keep<Mat>(new cv.Mat(h, w, cv.CV_32FC1));
    for (let i = 0; i < mask.length; i++) source.data32F[i] = mask[i]! ? 1 : 0;
    cv.GaussianBlur(source, source, new cv.Size(0, 0), sigmaPx, sigmaPx, cv.BORDER_REPLICATE);
    return Float32Array.from(source.data32F);
  });
}
