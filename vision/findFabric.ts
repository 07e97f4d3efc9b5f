import { clothWeight } from './lattice/clothWeight.ts';
import { largestPiece } from './lattice/largestPiece.ts';
import { cutTile, halfTile, type Rect, type Tile } from './lattice/resample.ts';
import { READABLE_PITCH_PX, readTexture, type TextureMaps } from './lattice/readTexture.ts';
import { weightedMedian } from './lattice/robust.ts';
import { lookCloser } from './lookCloser.ts';
import type { GrayImage, MaskImage, Point, StitchKey } from './types.ts';

/** Where the swatch is, and about how big its stitches are. All in picture pixels. */
export interface Fabric {
  outlinePx: Point[];
  bounds: Rect;
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Direction of the rows, degrees from the x axis, in (−90, 90]. */
  rowDirectionDeg: number;
  /** Share of the picture that is cloth. */
  share: number;
  looksLike: { stitch: StitchKey; weight: number }[];
  /** How much readable cloth was seen, about 0 (none) to 1. */
  evidence: number;
}

export interface FindFabricOptions {
  /** 255 where cloth may be: not on the reference, not outside the photo or the maker's region. */
  allowed?: MaskImage;
  /** The stitch that the maker names. */
  stitch?: StitchKey;
  /** About how big its stitches have to be, picture px: geometric mean of both pitches. */
  nearPx?: number;
}

/** What has stitches so many times as big or as small as they have to be is something else: a carpet, a tablecloth. */
const FAR_OFF = 2.5;

/** Below this share of readable cloth the stitches may only be too fine at this size. */
const LITTLE_EVIDENCE = 0.02;

/** From this much readable cloth on, and with stitches smaller than that (tile px), a smaller look has never seen more. */
const SURE_EVIDENCE = 0.05;
const TOO_FINE_PX = 5;

/** Longest side of the first look, px: a whole swatch is read in about half a second. */
const FIRST_LOOK_PX = 512;

type Size = Pick<GrayImage, 'widthPx' | 'heightPx'>;

interface Look {
  tile: Tile;
  maps: TextureMaps;
  /** cloth × allowed, per map pixel. */
  weight: Float32Array;
  evidence: number;
}

async function look(tile: Tile, picture: Size, options: FindFabricOptions): Promise<Look> {
  const maps = await readTexture(tile.image, options.stitch);
  return { tile, maps, ...weigh(tile, maps, picture, options) };
}

/** Cloth that may count, and how much readable cloth that is, as a share of the picture. */
function weigh(tile: Tile, maps: TextureMaps, picture: Size, { allowed, nearPx }: FindFabricOptions) {
  const weight = clothWeight(maps, tile, allowed);
  if (nearPx) leaveOutFarOff(weight, maps, nearPx * tile.scale);
  let sum = 0;
  for (let i = 0; i < weight.length; i++) {
    if (weight[i] <= 0.5) continue;
    const pitch = Math.sqrt(maps.stitchPitchPx[i] * maps.rowPitchPx[i]);
    const comfortable =
      pitch < READABLE_PITCH_PX.low
        ? (pitch / READABLE_PITCH_PX.low) ** 2
        : pitch > READABLE_PITCH_PX.high
          ? (READABLE_PITCH_PX.high / pitch) ** 2
          : 1;
    const sure = Math.exp(-2 * (maps.stitchPitchSd[i] + maps.rowPitchSd[i]));
    sum += weight[i] * comfortable * sure;
  }
  const mapPixels = (picture.widthPx * picture.heightPx * tile.scale ** 2) / 4;
  return { weight, evidence: sum / mapPixels };
}

/** Takes out of the cloth what has stitches far from `nearPx`, tile px. */
function leaveOutFarOff(weight: Float32Array, maps: TextureMaps, nearPx: number): void {
  for (let i = 0; i < weight.length; i++) {
    const squared = (maps.stitchPitchPx[i] * maps.rowPitchPx[i]) / nearPx ** 2;
    if (squared > FAR_OFF ** 2 || squared < FAR_OFF ** -2) weight[i] = 0;
  }
}

/** Column of the last 255 in row `y`. */
function lastIn(data: Uint8Array, y: number, widthPx: number): number {
  return data.lastIndexOf(255, (y + 1) * widthPx - 1) - y * widthPx;
}

/** Sides of what the reader reads are multiples of this, tile px. */
const STEP_PX = 32;

/**
 * The part of the picture in which cloth may be, a little more so that the reader sees what the cloth ends at, and
 * whole steps wide and high at `scale`, so that nothing is read for the sake of filling up; null where cloth may be nowhere.
 */
function placeOfCloth(
  { widthPx, heightPx }: Size,
  allowed: MaskImage | undefined,
  scale: number,
): Rect | null {
  if (!allowed) return { left: 0, top: 0, width: widthPx, height: heightPx };
  const { data } = allowed;
  let [left, right, top, bottom] = [widthPx, 0, heightPx, 0];
  for (let at = data.indexOf(255); at >= 0; at = data.indexOf(255, bottom * widthPx)) {
    const y = Math.floor(at / widthPx);
    [left, right] = [Math.min(left, at - y * widthPx), Math.max(right, lastIn(data, y, widthPx) + 1)];
    [top, bottom] = [Math.min(top, y), y + 1];
  }
  if (bottom === 0) return null;
  const along = (low: number, high: number, length: number) => {
    const steps = Math.ceil(((high - low) * scale) / STEP_PX + 1);
    const span = Math.min(length, (steps * STEP_PX) / scale);
    return [Math.max(0, Math.min(length - span, (low + high - span) / 2)), span] as const;
  };
  const [x, width] = along(left, right, widthPx);
  const [y, height] = along(top, bottom, heightPx);
  return { left: x, top: y, width, height };
}

/**
 * Finds the largest piece of readable cloth in a picture, at whatever size its stitches are.
 *
 * The reader looks at all of the picture in which cloth may be, shrunk so that the whole would be 512 px, and at half
 * and a quarter of that for cloth that may be coarse; when stitches are too fine there, it looks again in overlapping
 * parts at twice and four times the size. What was found coarse is looked at more closely once (`lookCloser`).
 *
 * @returns null when no cloth with readable stitches is seen
 */
export async function findFabric(
  picture: GrayImage,
  options: FindFabricOptions = {},
): Promise<Fabric | null> {
  const { widthPx, heightPx } = picture;
  const longest = Math.max(widthPx, heightPx);
  const first = Math.min(longest < 400 ? 1.6 : 1, FIRST_LOOK_PX / longest);
  const place = placeOfCloth(picture, options.allowed, first);
  if (!place) return null;
  const looks: Look[] = [];
  for (const scale of [first, first / 2, first / 4]) {
    if (Math.min(widthPx, heightPx) * scale < 48 || isTooFineAt(scale, looks)) break;
    const half = first <= 1 && looks.length > 0 ? halfTile(looks.at(-1)!.tile) : null;
    looks.push(await look(half ?? cutTile(picture, place, scale), picture, options));
  }
  let best = looks.reduce((a, b) => (b.evidence > a.evidence ? b : a));
  // Fine cloth hardly shows at 512 px: look closer, in parts, while that finds more.
  for (const parts of [2, 4]) {
    const scale = Math.min(1, first * parts);
    const isCloser = scale > (first * parts) / 2;
    const isFine = () => parts === 2 && best === looks[0] && meanPitchOf(best) < 9;
    if (!isCloser || !(best.evidence < LITTLE_EVIDENCE || isFine())) break;
    const joined = joinLooks(
      await lookInParts(picture, place, parts, scale, options),
      picture,
      scale,
      options,
    );
    if (joined.evidence > best.evidence) best = joined;
  }
  const piece = largestPiece(best.weight, best.maps.widthPx, best.maps.heightPx);
  if (!piece || best.evidence < 0.004) return null;
  return withFinerStitches(describe(best, piece, widthPx * heightPx), picture, options);
}

/** Side of a closer look, tile px. */
const CLOSER_LOOK_PX = 224;
/** The reader sees nothing new in a picture made larger than this. */
const MOST_ENLARGED = 2.5;
/** Stitches found smaller than this, picture px, leave no room for finer ones. */
const ROOM_FOR_FINER_PX = 20;

/** The same piece of cloth, its pitches those of the finer stitches that a closer look at its middle shows. */
async function withFinerStitches(
  fabric: Fabric,
  picture: GrayImage,
  options: FindFabricOptions,
): Promise<Fabric> {
  const rough = Math.sqrt(fabric.stitchPitchPx * fabric.rowPitchPx);
  if (rough < ROOM_FOR_FINER_PX) return fabric;
  const { left, top, width, height } = fabric.bounds;
  const finer = await lookCloser(fabric, async (times) => {
    const scale = Math.min(MOST_ENLARGED, (times * READABLE_PITCH_PX.best) / rough);
    const side = CLOSER_LOOK_PX / scale;
    const square = {
      left: left + (width - side) / 2,
      top: top + (height - side) / 2,
      width: side,
      height: side,
    };
    const { maps, weight, evidence } = await look(
      cutTile(picture, square, scale),
      { widthPx: side, heightPx: side },
      options,
    );
    return {
      stitchPitchPx: weightedMedian(maps.stitchPitchPx, weight) / scale,
      rowPitchPx: weightedMedian(maps.rowPitchPx, weight) / scale,
      evidence,
    };
  });
  return finer ? { ...fabric, stitchPitchPx: finer.stitchPitchPx, rowPitchPx: finer.rowPitchPx } : fabric;
}

/** Whether stitches that were clearly seen would be too small to be read in a look at this scale. */
function isTooFineAt(scale: number, looks: readonly Look[]): boolean {
  const clear = looks.find(({ evidence }) => evidence >= SURE_EVIDENCE);
  return clear !== undefined && (meanPitchOf(clear) * scale) / clear.tile.scale < TOO_FINE_PX;
}

/** Geometric mean of both pitches, tile pixels. */
function meanPitchOf({ maps, weight }: Look): number {
  const pitch = new Float32Array(weight.length);
  for (let i = 0; i < pitch.length; i++) pitch[i] = Math.sqrt(maps.stitchPitchPx[i] * maps.rowPitchPx[i]);
  return weightedMedian(pitch, weight);
}

async function lookInParts(
  picture: GrayImage,
  place: Rect,
  parts: number,
  scale: number,
  options: FindFabricOptions,
): Promise<Look[]> {
  const width = (place.width * 1.08) / parts;
  const height = (place.height * 1.08) / parts;
  const looks: Look[] = [];
  for (let j = 0; j < parts; j++) {
    for (let i = 0; i < parts; i++) {
      const left = place.left + (i * (place.width - width)) / (parts - 1);
      const top = place.top + (j * (place.height - height)) / (parts - 1);
      looks.push(await look(cutTile(picture, { left, top, width, height }, scale), picture, options));
    }
  }
  return looks;
}

/** Puts overlapping looks into one map of the whole picture; the surer look wins where they overlap. */
function joinLooks(
  parts: Look[],
  { widthPx, heightPx }: Size,
  scale: number,
  options: FindFabricOptions,
): Look {
  const w = Math.ceil((widthPx * scale) / 2);
  const h = Math.ceil((heightPx * scale) / 2);
  const plane = () => new Float32Array(w * h);
  const names = [
    'rowCos',
    'stitchCos',
    'cloth',
    'contrast',
    'stitchPitchPx',
    'rowPitchPx',
    'stitchPitchSd',
    'rowPitchSd',
    'cos2',
    'sin2',
  ] as const;
  const maps = Object.fromEntries(names.map((name) => [name, plane()])) as Record<
    (typeof names)[number],
    Float32Array
  >;
  for (const part of parts) {
    const dx = Math.round((part.tile.leftPx * scale) / 2);
    const dy = Math.round((part.tile.topPx * scale) / 2);
    for (let y = 0; y < part.maps.heightPx; y++) {
      for (let x = 0; x < part.maps.widthPx; x++) {
        if (x + dx >= w || y + dy >= h) continue;
        const to = (y + dy) * w + x + dx;
        const from = y * part.maps.widthPx + x;
        if (maps.stitchPitchPx[to] > 0 && part.maps.cloth[from] <= maps.cloth[to]) continue;
        for (const name of names) maps[name][to] = part.maps[name][from];
      }
    }
  }
  const sure = parts.reduce((a, b) => (b.evidence > a.evidence ? b : a));
  const tile: Tile = {
    image: { widthPx: 2 * w, heightPx: 2 * h, data: new Float32Array(0) },
    leftPx: 0,
    topPx: 0,
    scale,
  };
  const joined: TextureMaps = { widthPx: w, heightPx: h, ...maps, looksLike: sure.maps.looksLike };
  return { tile, maps: joined, ...weigh(tile, joined, { widthPx, heightPx }, options) };
}

function describe(
  { tile, maps, weight, evidence }: Look,
  piece: { inside: Uint8Array; outline: Point[]; area: number },
  pictureArea: number,
): Fabric {
  const inside = weightInside(weight, piece.inside);
  const stitch = weightedMedian(maps.stitchPitchPx, byTrust(inside, maps.stitchPitchSd));
  const row = weightedMedian(maps.rowPitchPx, byTrust(inside, maps.rowPitchSd));
  let c = 0;
  let s = 0;
  for (let i = 0; i < inside.length; i++) {
    c += inside[i] * maps.cos2[i];
    s += inside[i] * maps.sin2[i];
  }
  const toPicture = (p: Point): Point => ({
    x: tile.leftPx + (2 * p.x + 1) / tile.scale,
    y: tile.topPx + (2 * p.y + 1) / tile.scale,
  });
  const outlinePx = piece.outline.map(toPicture);
  const xs = outlinePx.map((p) => p.x);
  const ys = outlinePx.map((p) => p.y);
  const left = Math.min(...xs);
  const top = Math.min(...ys);
  return {
    outlinePx,
    bounds: { left, top, width: Math.max(...xs) - left, height: Math.max(...ys) - top },
    stitchPitchPx: stitch / tile.scale,
    rowPitchPx: row / tile.scale,
    rowDirectionDeg: (Math.atan2(s, c) * 90) / Math.PI,
    share: (piece.area * 4) / (tile.scale * tile.scale) / pictureArea,
    looksLike: maps.looksLike,
    evidence,
  };
}

function weightInside(weight: Float32Array, inside: Uint8Array): Float32Array {
  const out = new Float32Array(weight.length);
  for (let i = 0; i < out.length; i++) if (inside[i]) out[i] = weight[i];
  return out;
}

function byTrust(weight: Float32Array, sd: Float32Array): Float32Array {
  const out = new Float32Array(weight.length);
  for (let i = 0; i < out.length; i++) out[i] = weight[i] / (sd[i] * sd[i]);
  return out;
}
