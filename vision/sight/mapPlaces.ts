import type { Point } from '../types.ts';
import type { SightMaps } from './sightPicture.ts';

/**
 * Map pixel → pixel of the photo.
 *
 * @param scale px of the picture that the map is of ÷ px of the photo
 */
export function mapToPhoto(p: Point, scale: number): Point {
  return { x: (2 * p.x + 1) / scale - 0.5, y: (2 * p.y + 1) / scale - 0.5 };
}

/** Index of the map pixel that a place of the photo, px, falls in; −1 outside the map. */
export function mapIndexAt(
  { widthPx, heightPx }: Pick<SightMaps, 'widthPx' | 'heightPx'>,
  scale: number,
  p: Point,
): number {
  const x = Math.round(((p.x + 0.5) * scale - 1) / 2);
  const y = Math.round(((p.y + 0.5) * scale - 1) / 2);
  return x >= 0 && y >= 0 && x < widthPx && y < heightPx ? y * widthPx + x : -1;
}
