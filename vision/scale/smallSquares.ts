import { cv, rgbToGrayMat, withMats, type Mat, type MatVector } from '../cv.ts';
import type { DecodedPhoto, Point } from '../types.ts';
import type { Quad } from './geometry.ts';

/** Neighbourhood whose mean a spot is darker than, px, and by how much. */
const BLOCK_PX = 41;
const DARKER_BY = 7;
/** Outlines of spots that are worth looking at, px: from far off a square has sides of eight pixels and more. */
const OUTLINE_PX = { least: 24, most: 200 } as const;
const LEAST_SIDE_PX = 6;
/** Seen aslant, a square is longer than wide by so much; blur makes it round, and it still fills its box so far. */
const MOST_STRETCHED = 1.35;
const LEAST_FILLED = 0.72;

/**
 * Dark spots about as long as wide: squares of a sheet so far off that blur has rounded their corners. Many things are
 * such spots, so only several of them in their places say anything (`squareRings`).
 *
 * @returns the smallest upright or turned box about each spot, clockwise, decoded px
 */
export function smallSquares(photo: DecodedPhoto): Quad[] {
  return withMats((keep) => {
    const gray = keep(rgbToGrayMat(photo.rgb));
    const binary = keep<Mat>(new cv.Mat());
    cv.adaptiveThreshold(
      gray,
      binary,
      255,
      cv.ADAPTIVE_THRESH_MEAN_C,
      cv.THRESH_BINARY_INV,
      BLOCK_PX,
      DARKER_BY,
    );
    const contours = keep<MatVector>(new cv.MatVector());
    const hierarchy = keep<Mat>(new cv.Mat());
    cv.findContours(binary, contours, hierarchy, cv.RETR_LIST, cv.CHAIN_APPROX_NONE);
    const quads: Quad[] = [];
    const count = contours.size();
    for (let i = 0; i < count; i++) {
      const contour = contours.get(i);
      const box = isOfLength(contour.rows) ? boxOf(contour) : null;
      contour.delete();
      if (box) quads.push(box);
    }
    return quads;
  });
}

const isOfLength = (px: number): boolean => px >= OUTLINE_PX.least && px <= OUTLINE_PX.most;

/** null for what is no square. */
function boxOf(contour: Mat): Quad | null {
  const { center, size, angle } = cv.minAreaRect(contour);
  const [short, long] = [Math.min(size.width, size.height), Math.max(size.width, size.height)];
  if (short < LEAST_SIDE_PX || long > MOST_STRETCHED * short) return null;
  if (cv.contourArea(contour) < LEAST_FILLED * short * long) return null;
  const c = Math.cos((angle * Math.PI) / 180) / 2;
  const s = Math.sin((angle * Math.PI) / 180) / 2;
  const corner = (x: number, y: number): Point => ({
    x: center.x + c * x * size.width - s * y * size.height,
    y: center.y + s * x * size.width + c * y * size.height,
  });
  return [corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)];
}
