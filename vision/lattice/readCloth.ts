import type { Fabric } from '../findFabric.ts';
import type { GrayImage, MaskImage, StitchKey } from '../types.ts';
import { chooseWave, type WaveChoice } from './chooseWave.ts';
import { clothWeight } from './clothWeight.ts';
import { meanSpectrum } from './meanSpectrum.ts';
import { READABLE_PITCH_PX, readTexture, type TextureMaps } from './readTexture.ts';
import { cutTile, type Rect, type Tile } from './resample.ts';
import { weightedMedian } from './robust.ts';
import { transpose } from './transpose.ts';

/** The cloth read at one size: evidence maps, and the waves that may be its rows and stitches. */
export interface ClothReading {
  tile: Tile;
  maps: TextureMaps;
  /** Where cloth may count, per map pixel, 0…1. */
  weight: Float32Array;
  /** Whether all of the cloth was read, not only its middle. */
  whole: boolean;
  /** The reader's own regression of the pitches, map pixels (two tile pixels each). */
  reader: { stitch: number; row: number };
  /** What the waves were looked for near: the reader's pitches, or what the maker counted. */
  expected: { stitch: number; row: number };
  /** Best first; never empty. Wave vectors in cycles per map pixel. */
  choices: { stitch: WaveChoice[]; row: WaveChoice[] };
}

export interface ReadClothOptions {
  allowed?: MaskImage;
  /** The stitch that the maker names. */
  stitch?: StitchKey;
  /** What the pitches should be near, from what the maker counted, picture pixels. */
  expected?: { stitchPitchPx?: number; rowPitchPx?: number };
  /** Geometric mean pitch to read at, tile pixels. */
  pitchPx?: number;
  /** Most pixels that the reading may have: above that the middle of the cloth stands for the whole. */
  mostTilePx?: number;
  /** Whether cloth that runs out of the tile is followed; true when left out. */
  grows?: boolean;
  /** Read the picture with its axes exchanged. */
  turned?: boolean;
}

/**
 * Cuts the cloth out at the size the reader likes, reads it, and looks for the rows' wave and the stitches'
 * wave near the pitch that the reader's regression expects (Welch spectrum).
 *
 * @returns null when there is no cloth, or no wave at all
 */
export async function readCloth(
  picture: GrayImage,
  fabric: Pick<Fabric, 'stitchPitchPx' | 'rowPitchPx' | 'bounds'>,
  options: ReadClothOptions = {},
): Promise<ClothReading | null> {
  const { pitchPx = READABLE_PITCH_PX.best, mostTilePx = 460_000, grows = true } = options;
  const rough = Math.sqrt(fabric.stitchPitchPx * fabric.rowPitchPx);
  const margin = 2.5 * rough;
  let rect: Rect = clipRect(
    {
      left: fabric.bounds.left - margin,
      top: fabric.bounds.top - margin,
      width: fabric.bounds.width + 2 * margin,
      height: fabric.bounds.height + 2 * margin,
    },
    picture,
  );
  let scale = Math.min(2.5, pitchPx / rough);
  const tooBig = (rect.width * rect.height * scale * scale) / mostTilePx;
  if (tooBig > 1) scale = Math.max(Math.min(scale, (0.7 * pitchPx) / rough), scale / Math.sqrt(tooBig));
  const stillTooBig = (rect.width * rect.height * scale * scale) / mostTilePx;
  const whole = stillTooBig <= 1;
  if (!whole) {
    const keep = 1 / Math.sqrt(stillTooBig);
    rect = {
      left: rect.left + (rect.width * (1 - keep)) / 2,
      top: rect.top + (rect.height * (1 - keep)) / 2,
      width: rect.width * keep,
      height: rect.height * keep,
    };
  }
  let { tile, maps, weight } = await readTile(picture, rect, scale, options);
  // The first look from afar may have missed part of the cloth: follow it where it runs out of the tile.
  for (let more = 0; grows && more < 2; more++) {
    const wider = clipRect(growToward(rect, clothAtBorders(weight, maps)), picture);
    const isWider = wider.width * wider.height > 1.1 * rect.width * rect.height;
    if (!isWider || wider.width * wider.height * scale * scale > mostTilePx) break;
    rect = wider;
    ({ tile, maps, weight } = await readTile(picture, rect, scale, options));
  }

  const mapPerPicture = tile.scale / 2;
  const reader = {
    stitch: weightedMedian(maps.stitchPitchPx, trustedWeight(weight, maps.stitchPitchSd)) / 2,
    row: weightedMedian(maps.rowPitchPx, trustedWeight(weight, maps.rowPitchSd)) / 2,
  };
  if (!Number.isFinite(reader.stitch) || !Number.isFinite(reader.row)) return null;
  const expected = {
    stitch: (options.expected?.stitchPitchPx ?? 0) * mapPerPicture || reader.stitch,
    row: (options.expected?.rowPitchPx ?? 0) * mapPerPicture || reader.row,
  };
  const sdOf = (sd: Float32Array) => Math.min(0.11, Math.hypot(0.05, weightedMedian(sd, weight)));
  const direction = meanDirection(weight, maps);
  const alongRow = { x: Math.cos(direction), y: Math.sin(direction) };
  // Rows are counted upward on the page, against y.
  const acrossRow = { x: alongRow.y, y: -alongRow.x };

  const { widthPx: w, heightPx: h } = maps;
  const windowFor = (pitch: number) => (6 * pitch > 64 && Math.min(w, h) > 96 ? 128 : 64);
  const size = Math.max(windowFor(expected.row), windowFor(expected.stitch));
  const choices = {
    row: chooseWave(
      meanSpectrum(maps.rowCos, weight, w, h, size),
      acrossRow,
      expected.row,
      sdOf(maps.rowPitchSd),
      7,
    ),
    stitch: chooseWave(
      meanSpectrum(maps.stitchCos, weight, w, h, size),
      alongRow,
      expected.stitch,
      sdOf(maps.stitchPitchSd),
      9,
    ),
  };
  return { tile, maps, weight, whole, reader, expected, choices };
}

/** Where cloth is well seen, the more the surer its pitch is. */
function trustedWeight(weight: Float32Array, sd: Float32Array): Float32Array {
  const out = new Float32Array(weight.length);
  for (let i = 0; i < out.length; i++) out[i] = weight[i] > 0.3 ? weight[i] / (sd[i] * sd[i]) : 0;
  return out;
}

/** Direction of the rows, radians. */
function meanDirection(weight: Float32Array, { cos2, sin2 }: TextureMaps): number {
  let c = 0;
  let s = 0;
  for (let i = 0; i < weight.length; i++) {
    c += weight[i] * cos2[i];
    s += weight[i] * sin2[i];
  }
  return Math.atan2(s, c) / 2;
}

async function readTile(
  picture: GrayImage,
  rect: Rect,
  scale: number,
  { stitch, allowed, turned }: ReadClothOptions,
): Promise<Pick<ClothReading, 'tile' | 'maps' | 'weight'>> {
  const tile = cutTile(picture, rect, scale);
  const maps = turned
    ? turnBack(await readTexture(transpose(tile.image), stitch))
    : await readTexture(tile.image, stitch);
  return { tile, maps, weight: clothWeight(maps, tile, allowed) };
}

/** Share of each border of a map that is cloth. */
function clothAtBorders(weight: Float32Array, { widthPx: w, heightPx: h }: TextureMaps) {
  // Two stitches of what lies beside the cloth show where it ends.
  const inset = Math.round(READABLE_PITCH_PX.best);
  const share = (length: number, at: (i: number) => number) => {
    let cloth = 0;
    for (let i = 0; i < length; i++) if (weight[at(i)] > 0.5) cloth++;
    return cloth / length;
  };
  return {
    left: share(h, (y) => y * w + inset),
    right: share(h, (y) => y * w + w - 1 - inset),
    top: share(w, (x) => inset * w + x),
    bottom: share(w, (x) => (h - 1 - inset) * w + x),
  };
}

/** The rectangle made half as long again on each side where cloth runs out of it. */
function growToward(rect: Rect, cloth: ReturnType<typeof clothAtBorders>): Rect {
  const side = (share: number, length: number) => (share > 0.15 ? 0.5 * length : 0);
  const left = side(cloth.left, rect.width);
  const top = side(cloth.top, rect.height);
  return {
    left: rect.left - left,
    top: rect.top - top,
    width: rect.width + left + side(cloth.right, rect.width),
    height: rect.height + top + side(cloth.bottom, rect.height),
  };
}

/** Maps of a picture read with its axes exchanged, as maps of the picture itself. */
function turnBack(maps: TextureMaps): TextureMaps {
  const { widthPx, heightPx, looksLike } = maps;
  const back = (data: Float32Array) => transpose({ widthPx, heightPx, data }).data;
  return {
    widthPx: heightPx,
    heightPx: widthPx,
    rowCos: back(maps.rowCos),
    stitchCos: back(maps.stitchCos),
    cloth: back(maps.cloth),
    contrast: back(maps.contrast),
    stitchPitchPx: back(maps.stitchPitchPx),
    rowPitchPx: back(maps.rowPitchPx),
    stitchPitchSd: back(maps.stitchPitchSd),
    rowPitchSd: back(maps.rowPitchSd),
    // An angle θ becomes 90° − θ, and 2θ becomes 180° − 2θ.
    cos2: back(maps.cos2).map((v) => -v),
    sin2: back(maps.sin2),
    looksLike,
  };
}

function clipRect(rect: Rect, picture: GrayImage): Rect {
  const left = Math.max(0, rect.left);
  const top = Math.max(0, rect.top);
  return {
    left,
    top,
    width: Math.min(picture.widthPx, rect.left + rect.width) - left,
    height: Math.min(picture.heightPx, rect.top + rect.height) - top,
  };
}
