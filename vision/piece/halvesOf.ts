import { cv, type Mat, withMats } from '../cv.ts';
import type { Point } from '../types.ts';

/**
 * Which half of which side of an outline a place is nearest to.
 *
 * @param points of the outline, px
 * @returns a function of a place: 0…7, or -1 about the corners
 */
export function halvesOf(points: readonly Point[]): (x: number, y: number) => number {
  const box = withMats((keep) => {
    const flat = points.flatMap((p) => [p.x, p.y]);
    const rectangle = cv.minAreaRect(keep<Mat>(cv.matFromArray(points.length, 1, cv.CV_32SC2, flat)));
    return rectangle as {
      center: Point;
      size: { width: number; height: number };
      angle: number;
    };
  });
  const turn = (box.angle * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  // Halves of sides: a rug lies askew where a border cannot.
  return (x, y) => {
    const dx = x - box.center.x;
    const dy = y - box.center.y;
    const u = (2 * (dx * c + dy * s)) / box.size.width;
    const v = (2 * (-dx * s + dy * c)) / box.size.height;
    if (Math.min(Math.abs(u), Math.abs(v)) > 0.8) return -1;
    const upright = Math.abs(u) > Math.abs(v);
    const side = upright ? (u > 0 ? 0 : 1) : v > 0 ? 2 : 3;
    return 2 * side + ((upright ? v : u) > 0 ? 1 : 0);
  };
}
