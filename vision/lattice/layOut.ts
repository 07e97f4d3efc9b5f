import type { LatticeFit } from '../fitLattice.ts';
import type { GrayImage, Point } from '../types.ts';
import { normaliseTexture } from './normaliseTexture.ts';
import { cutTile, type Tile } from './resample.ts';

/** A place of the cloth, the steps of the lattice there, and at which scale its texture is looked at. */
export interface Window {
  place: Point;
  stitch: Point;
  row: Point;
  /** Pixels that are looked at, per picture pixel. */
  scale: number;
}

/** How a place is laid out. */
export interface Layout {
  /** Cells of a window on either axis, and pixels of a cell. */
  cells: number;
  cellPx: number;
  /** Box that takes slow light out of the texture, which reaches as far, px; odd. */
  boxPx: number;
}

/**
 * Lays texture and cloth about a place out, stitches along x and rows along y: zero outside the picture.
 *
 * @returns two planes of `cells · cellPx` squared; the cloth from 0 to 1
 *
 * @example
 * const { texture } = layOut({ cells: 10, cellPx: 16, boxPx: 25 }, picture, lattice, { place, stitch, row, scale });
 */
export function layOut(
  { cells, cellPx, boxPx }: Layout,
  picture: GrayImage,
  lattice: LatticeFit,
  { place, stitch, row, scale }: Window,
): { texture: Float32Array; cloth: Float32Array } {
  const side = cells * cellPx;
  const half = cells / 2;
  const reach = {
    x: half * (Math.abs(stitch.x) + Math.abs(row.x)) + boxPx / scale,
    y: half * (Math.abs(stitch.y) + Math.abs(row.y)) + boxPx / scale,
  };
  const tile = cutTile(
    picture,
    { left: place.x - reach.x, top: place.y - reach.y, width: 2 * reach.x, height: 2 * reach.y },
    scale,
  );
  const seen = normaliseTexture(tile.image, boxPx);
  // What is seen of the place (u, v) cells from the middle.
  const frame: Frame = {
    side,
    uv: Float64Array.from({ length: side }, (_, i) => (i + 0.5) / cellPx - half),
    place,
    stitch,
    row,
  };
  return { texture: textureIn(frame, seen, tile), cloth: clothIn(frame, lattice) };
}

/** The square that a place is laid out in. */
interface Frame {
  side: number;
  /** Cells from the middle to each pixel, on either axis. */
  uv: Float64Array;
  place: Point;
  stitch: Point;
  row: Point;
}

/** The loops below have functions of their own: only the second has to be compiled anew for every photo's lattice. */
function textureIn({ side, uv, place, stitch, row }: Frame, seen: GrayImage, tile: Tile): Float32Array {
  const texture = new Float32Array(side * side);
  for (let j = 0, at = 0; j < side; j++) {
    const v = uv[j]!;
    for (let i = 0; i < side; i++, at++) {
      const u = uv[i]!;
      const x = place.x + u * stitch.x + v * row.x;
      const y = place.y + u * stitch.y + v * row.y;
      texture[at] = between(seen, tileOf(x, tile.leftPx, tile.scale), tileOf(y, tile.topPx, tile.scale));
    }
  }
  return texture;
}

function clothIn({ side, uv, place, stitch, row }: Frame, lattice: LatticeFit): Float32Array {
  const cloth = new Float32Array(side * side);
  for (let j = 0, at = 0; j < side; j++) {
    const v = uv[j]!;
    for (let i = 0; i < side; i++, at++) {
      const u = uv[i]!;
      cloth[at] = lattice.clothAt(place.x + u * stitch.x + v * row.x, place.y + u * stitch.y + v * row.y);
    }
  }
  return cloth;
}

/** Where a picture coordinate lies in a tile; both count from the middle of their first pixel. */
const tileOf = (at: number, first: number, scale: number) => (at + 0.5 - first) * scale - 0.5;

/** Bilinear sample; 0 outside. */
function between(picture: GrayImage, x: number, y: number): number {
  const x0 = Math.floor(x);
  const y0 = Math.floor(y);
  const fx = x - x0;
  const fy = y - y0;
  return (
    (1 - fy) * ((1 - fx) * pixelAt(picture, x0, y0) + fx * pixelAt(picture, x0 + 1, y0)) +
    fy * ((1 - fx) * pixelAt(picture, x0, y0 + 1) + fx * pixelAt(picture, x0 + 1, y0 + 1))
  );
}

const pixelAt = ({ data, widthPx, heightPx }: GrayImage, i: number, j: number): number =>
  i < 0 || j < 0 || i >= widthPx || j >= heightPx ? 0 : data[j * widthPx + i]!;
