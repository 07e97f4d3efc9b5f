import { cv, withMats, type Mat } from '../cv.ts';
import type { Point } from '../types.ts';

/**
 * Patches of places of a map that are connected, each by itself.
 *
 * @param isOn whether a place counts, row by row
 * @param ways 4 over sides, 8 over corners as well
 */
export function patchesOf(isOn: (i: number) => boolean, w: number, h: number, ways: 4 | 8): Point[][] {
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    const { data } = mask; // made anew whenever it is asked for
    for (let i = 0; i < w * h; i++) data[i] = isOn(i) ? 255 : 0;
    const labels = keep<Mat>(new cv.Mat());
    const count = cv.connectedComponents(mask, labels, ways, cv.CV_32S) as number;
    const points: Point[][] = Array.from({ length: count }, () => []);
    labels.data32S.forEach((label, i) => points[label]!.push({ x: i % w, y: Math.floor(i / w) }));
    return points.slice(1);
  });
}

/** The middle of a patch and the direction that it is long in, a unit vector. */
export interface Frame {
  middle: Point;
  ux: number;
  uy: number;
}

/** The frame of a patch: its mean, and the first axis of how it spreads. */
export function frameOf(points: readonly Point[]): Frame {
  const n = points.length;
  const mean = (of: (p: Point) => number): number => points.reduce((s, p) => s + of(p), 0) / n;
  const middle = { x: mean((p) => p.x), y: mean((p) => p.y) };
  const xx = mean((p) => (p.x - middle.x) ** 2);
  const yy = mean((p) => (p.y - middle.y) ** 2);
  const xy = mean((p) => (p.x - middle.x) * (p.y - middle.y));
  const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
  return { middle, ux: Math.cos(angle), uy: Math.sin(angle) };
}

/** A place along and across in a frame. */
export const inFrame = ({ middle, ux, uy }: Frame, p: Point): Point => ({
  x: (p.x - middle.x) * ux + (p.y - middle.y) * uy,
  y: -(p.x - middle.x) * uy + (p.y - middle.y) * ux,
});

/** The place of a map that lies along and across in a frame. */
export const outOfFrame = ({ middle, ux, uy }: Frame, { x, y }: Point): Point => ({
  x: middle.x + x * ux - y * uy,
  y: middle.y + x * uy + y * ux,
});
