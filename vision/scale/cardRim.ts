import type { Matrix3, Point } from '../types.ts';
import type { SideFit } from './edgeFit.ts';
import { linearLevel } from './edgeFit.ts';
import { applyHomography, distance } from './geometry.ts';
import { pictureCentre, type PictureSize } from './lens.ts';
import type { PoseFit } from './poseFit.ts';
import type { RimView } from './rimEdges.ts';

/**
 * Light from a card's cut side, as a share of white, linear: the core of most cards is white, and it stands
 * steeply to the light. Common practice.
 */
const RIM_LIGHT = 0.45;

/** How one side's edge is moved by the card's own thickness. */
export interface RimShift {
  /** By how much the edge seems to lie farther out than the face's, px along each axis. */
  x: number;
  y: number;
  /** What stays unknown of it, px (standard deviation). */
  sdPx: number;
}

/**
 * A card is 0.76 mm thick, so that beside its face some of its cut side shows wherever the camera looks from
 * outside: up to 0.3 mm of something pale, too narrow to be seen by itself. Blurred, it moves the face's edge
 * by its width × (rim − table) · (face − table) ÷ |face − table|²: outward on a light card, inward on a dark one.
 */
export function rimShifts(
  pose: PoseFit,
  sides: readonly (SideFit | null)[],
  card: { widthMm: number; heightMm: number; thicknessMm: number },
  size: PictureSize,
): RimShift[] {
  const camera = cameraAbove(pose, size);
  return sidesOf(card).map(({ at, n }, i) => {
    const side = sides[i] ?? null;
    const beyond = (camera.x - at.x) * n.x + (camera.y - at.y) * n.y;
    if (!side || beyond <= 0) return { x: 0, y: 0, sdPx: 0 };
    const widthMm = (card.thicknessMm * beyond) / camera.height;
    const a = applyHomography(pose.faceMmToPx, at);
    const b = applyHomography(pose.faceMmToPx, { x: at.x + widthMm * n.x, y: at.y + widthMm * n.y });
    // The edge is sought along the colour step from table to face: what counts is the rim's part in that direction.
    let along = 0;
    let step = 0;
    for (let c = 0; c < 3; c++) {
      const table = linearLevel(side.outside[c]!) / 255;
      const d = linearLevel(side.inside[c]!) / 255 - table;
      along += (RIM_LIGHT - table) * d;
      step += d * d;
    }
    const share = step < 0.05 ** 2 ? 0 : Math.max(-1, Math.min(1, along / step));
    return {
      x: share * (b.x - a.x),
      y: share * (b.y - a.y),
      sdPx: 0.45 * Math.hypot(b.x - a.x, b.y - a.y),
    };
  });
}

/** Middles of a rectangle's sides and the directions outward, mm. */
function sidesOf({
  widthMm: w,
  heightMm: h,
}: {
  widthMm: number;
  heightMm: number;
}): { at: Point; n: Point }[] {
  return [
    { at: { x: w / 2, y: 0 }, n: { x: 0, y: -1 } },
    { at: { x: w, y: h / 2 }, n: { x: 1, y: 0 } },
    { at: { x: w / 2, y: h }, n: { x: 0, y: 1 } },
    { at: { x: 0, y: h / 2 }, n: { x: -1, y: 0 } },
  ];
}

/** What shows of a card's cut side beside each side of its face, the camera standing where the pose says. */
export function rimViews(
  pose: PoseFit,
  card: { widthMm: number; heightMm: number; thicknessMm: number },
  size: PictureSize,
): RimView[] {
  const camera = cameraAbove(pose, size);
  return sidesOf(card).map(({ at, n }) => {
    const beyond = (camera.x - at.x) * n.x + (camera.y - at.y) * n.y;
    const pxPerMm = distance(
      applyHomography(pose.faceMmToPx, at),
      applyHomography(pose.faceMmToPx, { x: at.x + n.x, y: at.y + n.y }),
    );
    return { rimPx: (Math.max(0, card.thicknessMm * beyond) / camera.height) * pxPerMm, pxPerMm };
  });
}

/** Where the camera stands over the plane of the card, in the card's mm. */
function cameraAbove(pose: PoseFit, size: PictureSize): { x: number; y: number; height: number } {
  const m: Matrix3 = pose.faceMmToPx;
  const c = pictureCentre(size);
  const column = (i: number): [number, number, number] => [
    (m[i]! - c.x * m[6 + i]!) / pose.focalPx,
    (m[3 + i]! - c.y * m[6 + i]!) / pose.focalPx,
    m[6 + i]!,
  ];
  const [u, v, t] = [column(0), column(1), column(2)];
  const dot = (p: readonly number[], q: readonly number[]): number =>
    p[0]! * q[0]! + p[1]! * q[1]! + p[2]! * q[2]!;
  const unit = dot(u, u);
  const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
  return {
    x: -dot(u, t) / unit,
    y: -dot(v, t) / unit,
    height: Math.abs(dot(n, t)) / unit ** 1.5,
  };
}
