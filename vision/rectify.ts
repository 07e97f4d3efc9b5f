import { cv, floatMatToGray, grayToFloatMat, type Mat, withMats } from './cv.ts';
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
  const toDecoded = (p: Point) => distort(applyHomography(inverse, p), photo.gray, k1);
  const outWidth = Math.max(16, Math.round(widthMm * pxPerMm));
  const outHeight = Math.max(16, Math.round(heightMm * pxPerMm));
  const gray = warp(photo.gray, outWidth, outHeight, toDecoded);
  return {
    gray,
    pxPerMm: scale && pxPerMm,
    toRectified,
    toDecoded,
    allowed: allowedMask(outWidth, outHeight, toRectified, { rim, reference: scale }, options.regionPx),
  };
}

/** Samples `gray` at `from(x, y)` for every pixel of the result. */
function warp(gray: GrayImage, widthPx: number, heightPx: number, from: (p: Point) => Point): GrayImage {
  return withMats((keep) => {
    const columns = Math.ceil(widthPx / WARP_STEP_PX) + 1;
    const rows = Math.ceil(heightPx / WARP_STEP_PX) + 1;
    const coarse = (axis: 'x' | 'y') => {
      const map = keep<Mat>(new cv.Mat(rows, columns, cv.CV_32FC1));
      const values = new Float32Array(rows * columns);
      for (let r = 0; r < rows; r++) {
        for (let c = 0; c < columns; c++) {
          // The pixel that enlarging puts this value on: pixel centres keep their places.
          const at = { x: (c + 0.5) * WARP_STEP_PX - 0.5, y: (r + 0.5) * WARP_STEP_PX - 0.5 };
          values[r * columns + c] = from({ x: at.x - WARP_STEP_PX / 2, y: at.y - WARP_STEP_PX / 2 })[axis];
        }
      }
      map.data32F.set(values);
      const large = keep<Mat>(new cv.Mat());
      const size = new cv.Size(columns * WARP_STEP_PX, rows * WARP_STEP_PX);
      cv.resize(map, large, size, 0, 0, cv.INTER_LINEAR);
      // Shifted by half a step so that no pixel of the result lies where enlarging has to extrapolate.
      return keep<Mat>(large.roi(new cv.Rect(WARP_STEP_PX / 2, WARP_STEP_PX / 2, widthPx, heightPx)));
    };
    const mapX = coarse('x');
    const mapY = coarse('y');
    const source = keep(grayToFloatMat(gray));
    const out = keep<Mat>(new cv.Mat());
    cv.remap(source, out, mapX, mapY, cv.INTER_LINEAR, cv.BORDER_REPLICATE, new cv.Scalar());
    return floatMatToGray(out);
  });
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
    return { widthPx, heightPx, data: Uint8Array.from(mask.data) };
  });
}
