import { cv, type Mat, matToMask, withMats } from './cv.ts';
import { copyPart, type PicturePart } from './luma.ts';
import { applyHomography, inverted, multiply } from './scale/geometry.ts';
import { distort, undistort } from './scale/lens.ts';
import { seenPart } from './seenPart.ts';
import type { DecodedPhoto, GrayImage, MaskImage, Matrix3, Point, Scale } from './types.ts';

/** The photo as if seen straight from above. */
export interface Rectified {
  gray: GrayImage;
  /** Rectified pixels per millimetre; null when no scale is known and the photo is taken as it is. */
  pxPerMm: number | null;
  /** Decoded pixel → rectified pixel, lens distortion taken out. */
  toRectified(p: Point): Point;
  /** Rectified pixel → decoded pixel, lens distortion put back. */
  toDecoded(p: Point): Point;
  /**
   * 255 where cloth may be: inside the photo and the maker's region, not on the reference, not where there surely is
   * table. Farther than `REACH_PX` from any such place the luma may be missing (0).
   */
  allowed: MaskImage;
}

export interface RectifyOptions {
  /** Longest side of the result, px. Default 2600. */
  maxSidePx?: number;
  /** Only here, decoded pixels. */
  regionPx?: Point[];
  /** Turn the result so that what ran this many degrees below level to the right runs level. Default 0. */
  turnDeg?: number;
  /** Whether a place, decoded px, surely shows table. */
  isTable?: ((p: Point) => boolean) | null;
}

/** Parts of the plane that are seen this much smaller than at the photo's centre are left out. */
const LEAST_RELATIVE_SIZE = 0.4;

/** Distance between the points at which the warp is worked out; it is smooth, so the rest is interpolated. */
const WARP_STEP_PX = 16;

const same = (p: Point): Point => p;

/**
 * Turns the photo so that a millimetre in the plane of the work is the same number of pixels everywhere.
 *
 * The resolution is the photo's own at its centre, so no detail is made up or lost there. Without a scale
 * the photo passes through unchanged, or only turned.
 *
 * @param photo decoded photo
 * @param scale from `findScale`, or null
 * @returns rectified luma with the transforms both ways
 *
 * @example
 * const flat = rectify(photo, scale);
 * const mm = pitchPx / flat.pxPerMm!;
 */
export function rectify(photo: DecodedPhoto, scale: Scale | null, options: RectifyOptions = {}): Rectified {
  const { widthPx, heightPx } = photo.gray;
  const { turnDeg = 0 } = options;
  if (!scale && turnDeg === 0) {
    const allowed = allowedMask(widthPx, heightPx, same, null, options.regionPx);
    if (options.isTable) leaveOutTable(allowed, options.isTable);
    return { gray: photo.gray, pxPerMm: null, toRectified: same, toDecoded: same, allowed };
  }
  const centre = { x: widthPx / 2, y: heightPx / 2 };
  const h = multiply(turn(turnDeg), scale ? upright(scale.homographyPxToMm, centre) : UNSCALED);
  const localSize = (p: Point) => {
    const a = applyHomography(h, p);
    const bx = applyHomography(h, { x: p.x + 1, y: p.y });
    const by = applyHomography(h, { x: p.x, y: p.y + 1 });
    return Math.sqrt(Math.abs((bx.x - a.x) * (by.y - a.y) - (bx.y - a.y) * (by.x - a.x)));
  };
  const denominator = (p: Point) => h[6] * p.x + h[7] * p.y + h[8];
  const centreMmPerPx = localSize(centre);
  const side = Math.sign(denominator(centre));
  // The photo's rim, drawn in where the plane runs off toward the horizon.
  const rim: Point[] = [];
  for (let i = 0; i < 64; i++) {
    const t = (i / 64) * 4;
    const f = t % 1;
    const corner = Math.floor(t);
    const p = [
      { x: f * widthPx, y: 0 },
      { x: widthPx, y: f * heightPx },
      { x: (1 - f) * widthPx, y: heightPx },
      { x: 0, y: (1 - f) * heightPx },
    ][corner];
    let reach = 1;
    for (; reach > 0.1; reach -= 0.02) {
      const q = { x: centre.x + (p.x - centre.x) * reach, y: centre.y + (p.y - centre.y) * reach };
      if (Math.sign(denominator(q)) === side && localSize(q) * LEAST_RELATIVE_SIZE < centreMmPerPx) break;
    }
    rim.push({ x: centre.x + (p.x - centre.x) * reach, y: centre.y + (p.y - centre.y) * reach });
  }
  const mm = rim.map((p) => applyHomography(h, p));
  const left = Math.min(...mm.map((p) => p.x));
  const top = Math.min(...mm.map((p) => p.y));
  const widthMm = Math.max(...mm.map((p) => p.x)) - left;
  const heightMm = Math.max(...mm.map((p) => p.y)) - top;
  const pxPerMm = Math.min(1 / centreMmPerPx, (options.maxSidePx ?? 2600) / Math.max(widthMm, heightMm));
  const matrix = multiply([pxPerMm, 0, -left * pxPerMm, 0, pxPerMm, -top * pxPerMm, 0, 0, 1], h);
  const inverse = inverted(matrix);
  const k1 = scale?.radialDistortion ?? 0;
  const toRectified = (p: Point) => applyHomography(matrix, undistort(p, photo.gray, k1));
  const view: View = { inverse, photo: photo.gray, k1 };
  const toDecoded = (p: Point) => seenAt(view, p);
  const outWidth = Math.max(16, Math.round(widthMm * pxPerMm));
  const outHeight = Math.max(16, Math.round(heightMm * pxPerMm));
  const allowed = allowedMask(outWidth, outHeight, toRectified, { rim, reference: scale }, options.regionPx);
  const { isTable } = options;
  if (isTable) {
    // At the photo's rim squares reach out of it; what counts is what they show inside.
    const inside = (v: number, length: number) => Math.min(length - 1, Math.max(0, v));
    leaveOutTable(allowed, (p) => {
      const { x, y } = toDecoded(p);
      return isTable({ x: inside(x, widthPx), y: inside(y, heightPx) });
    });
  }
  return { gray: warp(view, allowed), pxPerMm: scale && pxPerMm, toRectified, toDecoded, allowed };
}

/** How the photo looks at the plane. */
interface View {
  /** Plane in rectified pixels → undistorted decoded pixels. */
  inverse: Matrix3;
  photo: GrayImage;
  k1: number;
}

/** Where a rectified pixel is seen in the photo. */
function seenAt({ inverse, photo, k1 }: View, p: Point): Point {
  return distort(applyHomography(inverse, p), photo, k1);
}

/** The picture is warped in parts of this size, each from the luma of the part of the photo that it shows. */
const PART_STEPS = 16;

/** How far from where cloth may be the picture is made all the same: farther than any filter of the reader's looks. */
export const REACH_PX = 64;

/** Samples the photo where every pixel of the result is seen in it, but for parts with no cloth in them or near them. */
function warp(view: View, allowed: MaskImage): GrayImage {
  const { widthPx, heightPx } = allowed;
  const out: GrayImage = { widthPx, heightPx, data: new Float32Array(widthPx * heightPx) };
  const sidePx = PART_STEPS * WARP_STEP_PX;
  let room = new Float32Array(0);
  for (let topPx = 0; topPx < heightPx; topPx += sidePx) {
    for (let leftPx = 0; leftPx < widthPx; leftPx += sidePx) {
      const part = {
        leftPx,
        topPx,
        widthPx: Math.min(sidePx, widthPx - leftPx),
        heightPx: Math.min(sidePx, heightPx - topPx),
      };
      if (!hasAnyNear(allowed, part)) continue;
      const nodes = nodesOf(view, part);
      const seen = seenPart(view.photo, nodes.x, nodes.y);
      // Taken once for all parts: fresh memory costs more than what is done in it.
      if (room.length < seen.widthPx * seen.heightPx)
        room = new Float32Array(1.2 * seen.widthPx * seen.heightPx);
      copyPart(view.photo, seen, room);
      warpPart({ ...seen, data: room }, nodes, part, out);
    }
  }
  return out;
}

/** Side of the squares of which each is table or not as its middle is, px: sure table keeps farther from all else. */
const SQUARE_PX = 32;

function leaveOutTable({ widthPx, heightPx, data }: MaskImage, isTable: (p: Point) => boolean): void {
  for (let top = 0; top < heightPx; top += SQUARE_PX) {
    const bottom = Math.min(heightPx, top + SQUARE_PX);
    for (let left = 0; left < widthPx; left += SQUARE_PX) {
      if (!isTable({ x: left + SQUARE_PX / 2, y: top + SQUARE_PX / 2 })) continue;
      const right = Math.min(widthPx, left + SQUARE_PX);
      for (let y = top; y < bottom; y++) data.fill(0, y * widthPx + left, y * widthPx + right);
    }
  }
}

/** Whether cloth may be anywhere in the part or within reach of it. */
function hasAnyNear({ widthPx, heightPx, data }: MaskImage, part: PicturePart): boolean {
  const right = Math.min(widthPx, part.leftPx + part.widthPx + REACH_PX);
  const bottom = Math.min(heightPx, part.topPx + part.heightPx + REACH_PX);
  for (let y = Math.max(0, part.topPx - REACH_PX); y < bottom; y += SQUARE_PX / 2) {
    for (let x = Math.max(0, part.leftPx - REACH_PX); x < right; x += SQUARE_PX / 2) {
      if (data[y * widthPx + x]! > 0) return true;
    }
  }
  return false;
}

/** @param seen the part of the photo that the nodes lie in */
function warpPart(seen: PicturePart & GrayImage, nodes: Nodes, part: PicturePart, out: GrayImage): void {
  const x = new Float64Array(nodes.columns);
  const y = new Float64Array(nodes.columns);
  for (let row = 0; row < part.heightPx; row++) {
    alongRow(nodes, nodes.x, row, seen.leftPx, x);
    alongRow(nodes, nodes.y, row, seen.topPx, y);
    const from = (part.topPx + row) * out.widthPx + part.leftPx;
    sampleRow(seen, x, y, out.data, from, from + part.widthPx);
  }
}

/** The nodes' places along one axis on one row of the part, counted from `origin`. */
function alongRow(
  { columns }: Nodes,
  places: Float64Array,
  row: number,
  origin: number,
  to: Float64Array,
): void {
  const at = (row + 0.5) / WARP_STEP_PX;
  const above = Math.floor(at);
  const share = at - above;
  for (let c = 0, i = above * columns; c < columns; c++, i++) {
    to[c] = places[i]! + share * (places[i + columns]! - places[i]!) - origin;
  }
}

/**
 * One row of the result, bilinearly, the last pixels repeated outside. Not by OpenCV: its WebAssembly takes four
 * times as long, and rounds places to 1/32 px.
 */
function sampleRow(
  { widthPx, heightPx, data }: GrayImage,
  nodesX: Float64Array,
  nodesY: Float64Array,
  out: Float32Array,
  from: number,
  end: number,
): void {
  const right = widthPx - 1;
  const bottom = heightPx - 1;
  for (let c = 0, i = from; i < end; c++) {
    const dx = (nodesX[c + 1]! - nodesX[c]!) / WARP_STEP_PX;
    const dy = (nodesY[c + 1]! - nodesY[c]!) / WARP_STEP_PX;
    let x = nodesX[c]! + dx / 2;
    let y = nodesY[c]! + dy / 2;
    for (const last = Math.min(end, i + WARP_STEP_PX); i < last; i++, x += dx, y += dy) {
      const px = x < 0 ? 0 : x > right ? right : x;
      const py = y < 0 ? 0 : y > bottom ? bottom : y;
      const column = px | 0;
      const row = py | 0;
      const at = row * widthPx + column;
      const next = column < right ? at + 1 : at;
      const below = row < bottom ? widthPx : 0;
      const upper = data[at]! + (data[next]! - data[at]!) * (px - column);
      const lower = data[at + below]! + (data[next + below]! - data[at + below]!) * (px - column);
      out[i] = upper + (lower - upper) * (py - row);
    }
  }
}

/** Where points `WARP_STEP_PX` apart are seen in the photo. */
interface Nodes {
  columns: number;
  rows: number;
  x: Float64Array;
  y: Float64Array;
}

function nodesOf(view: View, part: PicturePart): Nodes {
  const columns = Math.ceil(part.widthPx / WARP_STEP_PX) + 1;
  const rows = Math.ceil(part.heightPx / WARP_STEP_PX) + 1;
  const x = new Float64Array(columns * rows);
  const y = new Float64Array(columns * rows);
  for (let r = 0, i = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++, i++) {
      // Half a pixel before the first of a step, where that step's pixels begin.
      const at = seenAt(view, {
        x: part.leftPx + c * WARP_STEP_PX - 0.5,
        y: part.topPx + r * WARP_STEP_PX - 0.5,
      });
      x[i] = at.x;
      y[i] = at.y;
    }
  }
  return { columns, rows, x, y };
}

const UNSCALED: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

function turn(deg: number): Matrix3 {
  const c = Math.cos((deg * Math.PI) / 180);
  const s = Math.sin((deg * Math.PI) / 180);
  return [c, s, 0, -s, c, 0, 0, 0, 1];
}

/** The reference may lie any way round; right and up stay right and up as the photo has them. */
function upright(h: Matrix3, at: Point): Matrix3 {
  const a = applyHomography(h, at);
  const b = applyHomography(h, { x: at.x + 1, y: at.y });
  const length = Math.hypot(b.x - a.x, b.y - a.y);
  const c = (b.x - a.x) / length;
  const s = (b.y - a.y) / length;
  return multiply([c, s, 0, -s, c, 0, 0, 0, 1], h);
}

function allowedMask(
  widthPx: number,
  heightPx: number,
  toRectified: (p: Point) => Point,
  photo: null | { rim: Point[]; reference: Scale | null },
  region: Point[] | undefined,
): MaskImage {
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_8UC1, new cv.Scalar(255)));
    const polygon = (points: Point[]) => {
      const flat = points.flatMap((p) => {
        const q = toRectified(p);
        return [Math.round(q.x), Math.round(q.y)];
      });
      const list = keep(new cv.MatVector());
      list.push_back(keep<Mat>(cv.matFromArray(points.length, 1, cv.CV_32SC2, flat)));
      return list;
    };
    const only = (points: Point[]) => {
      const inside = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_8UC1, new cv.Scalar(0)));
      cv.fillPoly(inside, polygon(points), new cv.Scalar(255));
      cv.bitwise_and(mask, inside, mask);
    };
    if (photo) {
      only(photo.rim);
      // A printed sheet frames the cloth: only the window is cloth, but the cloth may also lie beside it.
      const { reference } = photo;
      const hides = reference && reference.kind !== 'manual' && reference.kind !== 'sheet';
      if (hides && reference.outlinePx.length >= 3) {
        cv.fillPoly(mask, polygon(reference.outlinePx), new cv.Scalar(0));
      }
    }
    if (region && region.length >= 3) only(region);
    return matToMask(mask);
  });
}
