import type { Matrix3, Point, RgbImage } from '../types.ts';
import { applyHomography, rectangleTo, type Quad } from './geometry.ts';

/** How the corners of a rectangle look: cut round with a given radius, or sharp. */
export interface CornerLooks {
  /** Corners that could be judged. */
  judged: number;
  /** Corners that look round, and corners that look sharp. */
  round: number;
  sharp: number;
  /** Mean over judged corners of (gradient on the arc − gradient on the sharp corner) ÷ their sum, −1…1. */
  balance: number;
}

/**
 * Looks along rays from each corner's arc centre: a round corner has its edge at the radius, a sharp one
 * farther out, at radius ÷ cos.
 *
 * @param quad the sharp corners, px of `rgb`, clockwise, corner 0 → 1 along the width
 * @param hiddenSide side (0…3) whose two corners are not looked at
 */
export function cornerLooks(
  rgb: RgbImage,
  quad: Quad,
  size: { widthMm: number; heightMm: number },
  radiusMm: number,
  hiddenSide: number | null = null,
): CornerLooks {
  const mmToPx = rectangleTo(quad, size.widthMm, size.heightMm);
  const pxPerMm = (() => {
    const a = applyHomography(mmToPx, { x: size.widthMm / 2, y: size.heightMm / 2 });
    const b = applyHomography(mmToPx, { x: size.widthMm / 2 + 1, y: size.heightMm / 2 });
    const c = applyHomography(mmToPx, { x: size.widthMm / 2, y: size.heightMm / 2 + 1 });
    return Math.sqrt(Math.abs((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)));
  })();
  const step = Math.min(0.25, 0.5 / pxPerMm);
  const looks: CornerLooks = { judged: 0, round: 0, sharp: 0, balance: 0 };
  for (const [index, [cx, cy]] of (
    [
      [0, 0],
      [1, 0],
      [1, 1],
      [0, 1],
    ] as const
  ).entries()) {
    if (hiddenSide !== null && (index === hiddenSide || index === (hiddenSide + 1) % 4)) continue;
    const centre = {
      x: cx ? size.widthMm - radiusMm : radiusMm,
      y: cy ? size.heightMm - radiusMm : radiusMm,
    };
    let onArc = 0;
    let onCorner = 0;
    let rays = 0;
    for (let degrees = 30; degrees <= 60; degrees += 3) {
      const angle = (degrees * Math.PI) / 180;
      const dir = { x: (cx ? 1 : -1) * Math.cos(angle), y: (cy ? 1 : -1) * Math.sin(angle) };
      const sharpMm = radiusMm / Math.max(Math.cos(angle), Math.sin(angle));
      const gradientNear = (at: number, reach: number): number => {
        let best = 0;
        for (let rho = at - reach; rho <= at + reach; rho += step) {
          const g = radialGradient(rgb, mmToPx, centre, dir, rho, 0.7 / pxPerMm);
          if (g === null) return NaN;
          if (g > best) best = g;
        }
        return best;
      };
      const reach = 0.32;
      const arc = gradientNear(radiusMm, reach);
      const corner = gradientNear(sharpMm, reach);
      if (Number.isNaN(arc) || Number.isNaN(corner)) continue;
      onArc += arc;
      onCorner += corner;
      rays++;
    }
    if (rays < 6) continue;
    const total = onArc + onCorner;
    if (total / rays < 6) continue; // nothing to be seen here: hidden, or no contrast
    looks.judged++;
    const balance = (onArc - onCorner) / total;
    looks.balance += balance;
    if (balance > 0.12) looks.round++;
    if (balance < -0.12) looks.sharp++;
  }
  if (looks.judged > 0) looks.balance /= looks.judged;
  return looks;
}

function radialGradient(
  rgb: RgbImage,
  mmToPx: Matrix3,
  centre: Point,
  dir: Point,
  rho: number,
  half: number,
): number | null {
  const a = colourAt(
    rgb,
    applyHomography(mmToPx, { x: centre.x + dir.x * (rho - half), y: centre.y + dir.y * (rho - half) }),
  );
  const b = colourAt(
    rgb,
    applyHomography(mmToPx, { x: centre.x + dir.x * (rho + half), y: centre.y + dir.y * (rho + half) }),
  );
  return a && b ? Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) : null;
}

/** Bilinear colour at a point; null outside the picture. */
export function colourAt(rgb: RgbImage, p: Point): [number, number, number] | null {
  const { widthPx, heightPx, data } = rgb;
  if (!(p.x >= 0 && p.y >= 0 && p.x < widthPx - 1 && p.y < heightPx - 1)) return null;
  const x = Math.floor(p.x);
  const y = Math.floor(p.y);
  const fx = p.x - x;
  const fy = p.y - y;
  const i = 3 * (y * widthPx + x);
  const j = i + 3 * widthPx;
  return [
    bilinear(data, i, j, fx, fy),
    bilinear(data, i + 1, j + 1, fx, fy),
    bilinear(data, i + 2, j + 2, fx, fy),
  ];
}

/** Between a value, the same channel's next in its row, and both in the row below (from `j` on). */
function bilinear(data: Uint8Array, i: number, j: number, fx: number, fy: number): number {
  return (
    (1 - fy) * ((1 - fx) * data[i]! + fx * data[i + 3]!) + fy * ((1 - fx) * data[j]! + fx * data[j + 3]!)
  );
}
