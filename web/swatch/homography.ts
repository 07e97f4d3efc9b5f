import type { Matrix3, Point } from '../../vision/types.ts';

/** Sends a point through a projective map (row-major 3 × 3). */
export function throughHomography(h: Matrix3, p: Point): Point {
  const w = h[6] * p.x + h[7] * p.y + h[8];
  return { x: (h[0] * p.x + h[1] * p.y + h[2]) / w, y: (h[3] * p.x + h[4] * p.y + h[5]) / w };
}

/** a · b, both row-major 3 × 3. */
export function multiply(a: Matrix3, b: Matrix3): Matrix3 {
  const cell = (row: number, column: number) =>
    (a[3 * row] ?? 0) * (b[column] ?? 0) +
    (a[3 * row + 1] ?? 0) * (b[3 + column] ?? 0) +
    (a[3 * row + 2] ?? 0) * (b[6 + column] ?? 0);
  return [0, 1, 2, 3, 4, 5, 6, 7, 8].map((i) => cell(Math.floor(i / 3), i % 3)) as Matrix3;
}

/** The CSS `matrix3d` that does in the plane what the row-major 3 × 3 homography does. */
export function toCssMatrix3d(h: Matrix3): string {
  const columns = [h[0], h[3], 0, h[6], h[1], h[4], 0, h[7], 0, 0, 1, 0, h[2], h[5], 0, h[8]];
  return `matrix3d(${columns.map((n) => n.toPrecision(12)).join(',')})`;
}
