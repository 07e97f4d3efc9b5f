import type { LatticeFit } from '../fitLattice.ts';
import { openOnce } from '../network.ts';
import { STITCH_KEYS, type GrayImage, type Point, type StitchKey } from '../types.ts';
import { normaliseTexture } from './normaliseTexture.ts';
import { READABLE_PITCH_PX } from './readTexture.ts';
import { cutTile } from './resample.ts';
import { sineOfAxes } from './sineOfAxes.ts';
import { softmax } from './softmax.ts';

/** What the octave check makes of a lattice. */
export interface OctaveOdds {
  /** How likely the cloth has so many times the stitches and rows that were read; the first is as read. */
  ways: { stitch: number; row: number; weight: number }[];
  /** How likely the lattice is another altogether. All weights sum to 1. */
  other: number;
  /** What the cloth looks like, laid out on the lattice; sums to 1. */
  looksLike: { stitch: StitchKey; weight: number }[];
}

/** Cells of a window on either axis, and pixels of a cell. */
const CELLS = 10;
const CELL_PX = 16;
const SIDE_PX = CELLS * CELL_PX;

/** So many windows, far apart from each other. */
const MOST_WINDOWS = 6;

/** The box that takes slow light out of a texture reaches as far. */
const MARGIN_PX = 25;

const open = openOnce(new URL('./model/octaves.onnx', import.meta.url));

/**
 * Lays some places of the cloth out on the lattice that was read there and asks a second network whether it is the right
 * one, or half or twice the rows or stitches, or another altogether.
 *
 * The network that reads the cloth has to find rows and stitches in any pose and at any size; laid out, with ten cells of
 * the lattice to a window, only the counting is left to be seen, and one network checks the other. It is trained on
 * generated cloth laid out rightly and wrongly (`fixtures/training/trainOctaves.py`) with the cross entropy, a proper
 * score, so that its answers are probabilities (Gneiting and Raftery, J. Am. Stat. Assoc. 102, 2007); the windows are
 * pooled as a set (Zaheer et al., "Deep Sets", NeurIPS 2017).
 *
 * @param picture the luma that the lattice was fitted to
 * @param told the stitch that the maker names
 *
 * @example
 * const odds = await weighOctaves(picture, lattice);
 * odds.ways[0].weight; // how likely the lattice counts rightly
 */
export async function weighOctaves(
  picture: GrayImage,
  lattice: LatticeFit,
  told?: StitchKey,
): Promise<OctaveOdds> {
  const places = placesApart(lattice);
  const plane = SIDE_PX * SIDE_PX;
  const windows = new Float32Array(places.length * 2 * plane);
  let aspect = 0;
  let sampled = 0;
  places.forEach((place, i) => {
    const { stitch, row } = stepsAt(lattice, place);
    const size = Math.sqrt(length(stitch) * length(row));
    const scale = Math.min(2.5, READABLE_PITCH_PX.best / size);
    const seen = layOut(picture, lattice, { place, stitch, row, scale });
    windows.set(seen.texture, 2 * i * plane);
    windows.set(seen.cloth, (2 * i + 1) * plane);
    aspect += Math.log2(length(row) / length(stitch)) / places.length;
    sampled += Math.log2((scale * size) / READABLE_PITCH_PX.best) / places.length;
  });
  const about = new Float32Array(STITCH_KEYS.length + 3);
  about[0] = aspect;
  about[1] = sampled;
  about[2 + (told ? STITCH_KEYS.indexOf(told) : STITCH_KEYS.length)] = 1;
  const { runtime, session } = await open();
  const result = await session.run({
    windows: new runtime.Tensor('float32', windows, [places.length, 2, SIDE_PX, SIDE_PX]),
    about: new runtime.Tensor('float32', about, [1, about.length]),
  });
  const way = softmax(result.way.data as Float32Array);
  const kind = softmax(result.kind.data as Float32Array);
  const ways = [0, 1, 2].flatMap((a) =>
    [0, 1, 2].map((b) => ({ stitch: 2 ** (a - 1), row: 2 ** (b - 1), weight: way[3 * a + b] })),
  );
  const isAsRead = (one: (typeof ways)[number]) => one.stitch === 1 && one.row === 1;
  return {
    ways: [
      ...ways.filter(isAsRead),
      ...ways.filter((one) => !isAsRead(one)).sort((a, b) => b.weight - a.weight),
    ],
    other: way[9],
    looksLike: STITCH_KEYS.map((stitch, i) => ({ stitch, weight: kind[i] })).sort(
      (a, b) => b.weight - a.weight,
    ),
  };
}

const length = (v: Point) => Math.hypot(v.x, v.y);

/** From a place to the next stitch and to the next row, picture pixels. */
function stepsAt(lattice: LatticeFit, { x, y }: Point): { stitch: Point; row: Point } {
  const cell = lattice.cellAt(x, y);
  const along = (deg: number, by: number): Point => ({
    x: by * Math.cos((deg * Math.PI) / 180),
    y: by * Math.sin((deg * Math.PI) / 180),
  });
  return {
    stitch: along(cell.stitchAngleDeg, cell.stitchPitchPx),
    row: along(cell.rowAngleDeg, cell.rowPitchPx / sineOfAxes(cell)),
  };
}

/** Places of the lattice well inside the cloth and far from each other, counted in cells. */
function placesApart(lattice: LatticeFit): Point[] {
  const every = Math.ceil(lattice.places.length / 120);
  const candidates = lattice.places
    .filter((_, i) => i % every === 0)
    .map(({ x, y }) => ({
      x,
      y,
      s: lattice.stitchPhaseAt(x, y),
      r: lattice.rowPhaseAt(x, y),
      cloth: clothAbout(lattice, { x, y }),
    }));
  const most = Math.max(...candidates.map((c) => c.cloth));
  const inside = candidates.filter((c) => c.cloth >= 0.85 * most);
  const chosen = [inside.find((c) => c.cloth === most)!];
  while (chosen.length < MOST_WINDOWS) {
    const apart = (c: (typeof inside)[number]) =>
      Math.min(...chosen.map((o) => Math.hypot(c.s - o.s, c.r - o.r)));
    const next = inside.reduce((a, b) => (apart(b) > apart(a) ? b : a));
    // Two windows within a few cells of each other see the same.
    if (apart(next) < 2.5) break;
    chosen.push(next);
  }
  return chosen;
}

/** Share of cloth in the window about a place. */
function clothAbout(lattice: LatticeFit, place: Point): number {
  const { stitch, row } = stepsAt(lattice, place);
  let sum = 0;
  for (const u of [-4, -2, 0, 2, 4]) {
    for (const v of [-4, -2, 0, 2, 4]) {
      sum += lattice.clothAt(place.x + u * stitch.x + v * row.x, place.y + u * stitch.y + v * row.y) / 25;
    }
  }
  return sum;
}

/** A place of the cloth, the steps of the lattice there, and at which scale its texture is looked at. */
interface Window {
  place: Point;
  stitch: Point;
  row: Point;
  /** Pixels that are looked at, per picture pixel. */
  scale: number;
}

/** Texture and cloth about a place, ten by ten cells, stitches along x and rows along y; nothing outside the picture. */
function layOut(
  picture: GrayImage,
  lattice: LatticeFit,
  { place, stitch, row, scale }: Window,
): { texture: Float32Array; cloth: Float32Array } {
  const half = CELLS / 2;
  const reach = {
    x: half * (Math.abs(stitch.x) + Math.abs(row.x)) + MARGIN_PX / scale,
    y: half * (Math.abs(stitch.y) + Math.abs(row.y)) + MARGIN_PX / scale,
  };
  const tile = cutTile(
    picture,
    { left: place.x - reach.x, top: place.y - reach.y, width: 2 * reach.x, height: 2 * reach.y },
    scale,
  );
  const seen = normaliseTexture(tile.image);
  const texture = new Float32Array(SIDE_PX * SIDE_PX);
  const cloth = new Float32Array(SIDE_PX * SIDE_PX);
  for (let j = 0; j < SIDE_PX; j++) {
    for (let i = 0; i < SIDE_PX; i++) {
      const u = (i + 0.5) / CELL_PX - half;
      const v = (j + 0.5) / CELL_PX - half;
      const x = place.x + u * stitch.x + v * row.x;
      const y = place.y + u * stitch.y + v * row.y;
      const at = j * SIDE_PX + i;
      texture[at] = between(seen, tileOf(x, tile.leftPx, tile.scale), tileOf(y, tile.topPx, tile.scale));
      cloth[at] = lattice.clothAt(x, y);
    }
  }
  return { texture, cloth };
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
