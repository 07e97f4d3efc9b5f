import type { Matrix3, Point, Scale } from '../types.ts';
import { applyHomography } from './geometry.ts';

/** Size of a decoded picture; lens distortion is centred on it and measured in its half-diagonals. */
export interface PictureSize {
  widthPx: number;
  heightPx: number;
}

export function pictureCentre(size: PictureSize): Point {
  return { x: (size.widthPx - 1) / 2, y: (size.heightPx - 1) / 2 };
}

/**
 * Removes radial distortion: the inverse of distorted = undistorted × (1 + k1 r²), r in half-diagonals
 * (D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37, 1971, first term).
 */
export function undistort(p: Point, size: PictureSize, k1: number): Point {
  if (k1 === 0) return p;
  const c = pictureCentre(size);
  const half = Math.hypot(size.widthPx, size.heightPx) / 2;
  const dx = p.x - c.x;
  const dy = p.y - c.y;
  const distorted = Math.hypot(dx, dy) / half;
  if (distorted < 1e-9) return p;
  let r = distorted;
  for (let i = 0; i < 6; i++) r -= (r * (1 + k1 * r * r) - distorted) / (1 + 3 * k1 * r * r);
  const factor = r / distorted;
  return { x: c.x + dx * factor, y: c.y + dy * factor };
}

/** Applies radial distortion: distorted = undistorted × (1 + k1 r²). */
export function distort(p: Point, size: PictureSize, k1: number): Point {
  const c = pictureCentre(size);
  const half = Math.hypot(size.widthPx, size.heightPx) / 2;
  const dx = p.x - c.x;
  const dy = p.y - c.y;
  const factor = 1 + (k1 * (dx * dx + dy * dy)) / (half * half);
  return { x: c.x + dx * factor, y: c.y + dy * factor };
}

/**
 * Position in the plane of the work, mm, of a decoded pixel.
 *
 * @example
 * const mm = pxToMm(scale, { x: 812, y: 430 }, photo.rgb);
 */
export function pxToMm(
  scale: Pick<Scale, 'homographyPxToMm' | 'radialDistortion'>,
  p: Point,
  size: PictureSize,
): Point {
  return applyHomography(scale.homographyPxToMm, undistort(p, size, scale.radialDistortion ?? 0));
}

/**
 * mm per decoded pixel at a point, geometric mean of both axes, lens distortion included.
 */
export function mmPerPxAt(
  homographyPxToMm: Matrix3,
  radialDistortion: number | null,
  p: Point,
  size: PictureSize,
): number {
  const k1 = radialDistortion ?? 0;
  const h = 0.5;
  const right = inPlane(homographyPxToMm, k1, size, p.x + h, p.y);
  const left = inPlane(homographyPxToMm, k1, size, p.x - h, p.y);
  const down = inPlane(homographyPxToMm, k1, size, p.x, p.y + h);
  const up = inPlane(homographyPxToMm, k1, size, p.x, p.y - h);
  const det = (right.x - left.x) * (down.y - up.y) - (right.y - left.y) * (down.x - up.x);
  return Math.sqrt(Math.abs(det)) / (2 * h);
}

const inPlane = (h: Matrix3, k1: number, size: PictureSize, x: number, y: number): Point =>
  applyHomography(h, undistort({ x, y }, size, k1));
