import { Matrix, SingularValueDecomposition } from 'ml-matrix';
import type { Matrix3, Point } from '../types.ts';
import { distance, rectangleTo, type Quad } from './geometry.ts';

/**
 * mm → px from at least four point pairs by the normalised direct linear transform (R. Hartley, PAMI 19, 1997); of
 * exactly four, the corners of a rectangle, clockwise from its first.
 */
export function homographyFrom(pairs: readonly { mm: Point; px: Point }[]): Matrix3 {
  if (pairs.length === 4) {
    const quad = pairs.map((p) => p.px) as Quad;
    const [a, b, , d] = pairs.map((p) => p.mm);
    const local = rectangleTo(quad, distance(a!, b!), distance(a!, d!));
    return shifted(local, a!);
  }
  const scaleMm = 100;
  const scalePx = 1000;
  const rows: number[][] = [];
  for (const { mm, px } of pairs) {
    const x = mm.x / scaleMm;
    const y = mm.y / scaleMm;
    const u = px.x / scalePx;
    const v = px.y / scalePx;
    rows.push([x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v]);
  }
  const { rightSingularVectors: v } = new SingularValueDecomposition(new Matrix(rows));
  const h = v.getColumn(v.columns - 1);
  return [
    (h[0]! * scalePx) / scaleMm,
    (h[1]! * scalePx) / scaleMm,
    h[2]! * scalePx,
    (h[3]! * scalePx) / scaleMm,
    (h[4]! * scalePx) / scaleMm,
    h[5]! * scalePx,
    h[6]! / scaleMm,
    h[7]! / scaleMm,
    h[8]!,
  ];
}

/** h after a shift of its input, so that `origin` becomes (0, 0). */
function shifted(h: Matrix3, origin: Point): Matrix3 {
  return [
    h[0],
    h[1],
    h[2] - h[0] * origin.x - h[1] * origin.y,
    h[3],
    h[4],
    h[5] - h[3] * origin.x - h[4] * origin.y,
    h[6],
    h[7],
    h[8] - h[6] * origin.x - h[7] * origin.y,
  ];
}
