import { cv, type Keep, type Mat, matToMask, withMats } from './cv.ts';
import { copyPart, type PicturePart } from './luma.ts';
import { applyHomography, inverted, multiply } from './scale/geometry.ts';
import { distort, undistort } from './scale/lens.ts';
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
  /** 255 where cloth may be: inside the photo and the maker's region, not on the reference. */
  allowed: MaskImage;
}

export interface RectifyOptions {
  /** Longest side of the result, px. Default 2600. */
  maxSidePx?: number;
  /** Only here, decoded pixels. */
  regionPx?: Point[];
  /** Turn the result so that what ran this many degrees below level to the right runs level. Default 0. */
  turnDeg?: number;
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
    return {
      gray: photo.gray,
      pxPerMm: null,
      toRectified: same,
      toDecoded: same,
      allowed: allowedMask(widthPx, heightPx, same, null, options.regionPx),
    };
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
  const gray = warp(view, outWidth, outHeight);
  return {
    gray,
    pxPerMm: scale && pxPerMm,
    toRectified,
    toDecoded,
    allowed: allowedMask(outWidth, outHeight, toRectified, { rim, reference: scale }, options.regionPx),
  };
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

/**
 * The picture is warped in parts of this size, each from the part of the photo that it shows: what OpenCV takes to
 * hold a whole photo and its maps it never gives back.
 */
const PART_STEPS = 32;

/** Samples the photo where every pixel of the result is seen in it. */
function warp(view: View, widthPx: number, heightPx: number): GrayImage {
  const out: GrayImage = { widthPx, heightPx, data: new Float32Array(widthPx * heightPx) };
  const sidePx = PART_STEPS * WARP_STEP_PX;
  for (let topPx = 0; topPx < heightPx; topPx += sidePx) {
    for (let leftPx = 0; leftPx < widthPx; leftPx += sidePx) {
      warpPart(view, out, {
        leftPx,
        topPx,
        widthPx: Math.min(sidePx, widthPx - leftPx),
        heightPx: Math.min(sidePx, heightPx - topPx),
      });
    }
  }
  return out;
}

function warpPart(view: View, out: GrayImage, part: PicturePart): void {
  const nodes = nodesOf(view, part);
  const seen = seenPart(view.photo, nodes);
  withMats((keep) => {
    const mapX = mapOf(nodes, nodes.x, seen.leftPx, part, keep);
    const mapY = mapOf(nodes, nodes.y, seen.topPx, part, keep);
    const source = keep<Mat>(new cv.Mat(seen.heightPx, seen.widthPx, cv.CV_32FC1));
    copyPart(view.photo, seen, source.data32F);
    const warped = keep<Mat>(new cv.Mat());
    cv.remap(source, warped, mapX, mapY, cv.INTER_LINEAR, cv.BORDER_REPLICATE, new cv.Scalar());
    putPart(warped.data32F, part, out);
  });
}

function putPart(pixels: Float32Array, part: PicturePart, out: GrayImage): void {
  for (let y = 0; y < part.heightPx; y++) {
    const row = pixels.subarray(y * part.widthPx, (y + 1) * part.widthPx);
    out.data.set(row, (part.topPx + y) * out.widthPx + part.leftPx);
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
      // Half a pixel before the first of a step: enlarging puts values on the middles of what they stand for.
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

/** The part of the photo that lies between the nodes, with the pixels next to it. */
function seenPart({ widthPx, heightPx }: GrayImage, nodes: Nodes): PicturePart {
  const [left, right] = spanOf(nodes.x, widthPx);
  const [top, bottom] = spanOf(nodes.y, heightPx);
  return { leftPx: left, topPx: top, widthPx: right - left, heightPx: bottom - top };
}

/** First pixel and the one after the last; never empty. */
function spanOf(places: Float64Array, length: number): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (const place of places) {
    if (place < low) low = place;
    if (place > high) high = place;
  }
  const from = Math.min(length - 1, Math.max(0, Math.floor(low) - 1));
  return [from, Math.min(length, Math.max(from + 1, Math.ceil(high) + 2))];
}

/** The map for every pixel of a part, from the nodes' places along one axis. */
function mapOf(
  { columns, rows }: Nodes,
  places: Float64Array,
  origin: number,
  part: PicturePart,
  keep: Keep,
): Mat {
  const map = keep<Mat>(new cv.Mat(rows, columns, cv.CV_32FC1));
  const values = map.data32F;
  for (let i = 0; i < places.length; i++) values[i] = places[i]! - origin;
  const large = keep<Mat>(new cv.Mat());
  const size = new cv.Size(columns * WARP_STEP_PX, rows * WARP_STEP_PX);
  cv.resize(map, large, size, 0, 0, cv.INTER_LINEAR);
  // Shifted by half a step so that no pixel of the result lies where enlarging has to extrapolate.
  const half = WARP_STEP_PX / 2;
  return keep<Mat>(large.roi(new cv.Rect(half, half, part.widthPx, part.heightPx)));
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
