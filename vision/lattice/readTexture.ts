import { openOnce } from '../network.ts';
import { STITCH_KEYS, type GrayImage, type StitchKey } from '../types.ts';
import { normaliseTexture, type Texture } from './normaliseTexture.ts';
import { softmax } from './softmax.ts';

/** Geometric mean pitch, in input pixels, that the reader was trained for. */
export const READABLE_PITCH_PX = { low: 7, high: 27, best: 13 } as const;

/** What the reader sees in one patch. All maps have half the patch's size; map pixel (i, j) ↔ patch (2i + ½, 2j + ½). */
export interface TextureMaps {
  widthPx: number;
  heightPx: number;
  /** +1 on boundaries between rows, −1 in the middle of a row (or the reverse over a whole patch). */
  rowCos: Float32Array;
  /** Likewise for stitches. */
  stitchCos: Float32Array;
  /** Probability that this is cloth whose stitches can be read. */
  cloth: Float32Array;
  /** How strong the texture is there: the local standard deviation of luma (0…1). */
  contrast: Float32Array;
  /** Pitch in PATCH pixels, and the reader's own relative standard deviation (natural log units). */
  stitchPitchPx: Float32Array;
  rowPitchPx: Float32Array;
  stitchPitchSd: Float32Array;
  rowPitchSd: Float32Array;
  /** cos and sin of twice the angle of the row's direction. */
  cos2: Float32Array;
  sin2: Float32Array;
  /** What the whole patch looks like; sums to 1. */
  looksLike: { stitch: StitchKey; weight: number }[];
}

const open = openOnce(new URL('./model/reader.onnx', import.meta.url));

/**
 * Reads one grey patch with the trained network: where rows and stitches divide, what is cloth, and how
 * wide stitches and rows are.
 *
 * Best when the geometric mean of the two pitches is 7–27 patch pixels. The network (see
 * `fixtures/training/train.py`) is a small U-Net (Ronneberger, Fischer and Brox, MICCAI 2015) trained only
 * on generated cloth; its answers are evidence, which `fitLattice` checks.
 *
 * @param patch any size ≥ 32 × 32
 * @param told the stitch that the maker names; the reader was trained with and without it
 *
 * @example
 * const maps = await readTexture(tile.image);
 * maps.stitchPitchPx[0]; // width of one stitch, patch pixels
 */
export async function readTexture(patch: GrayImage, told?: StitchKey): Promise<TextureMaps> {
  const texture = normaliseTexture(patch);
  const w = 32 * Math.ceil(texture.widthPx / 32);
  const h = 32 * Math.ceil(texture.heightPx / 32);
  const input = padded(texture, w, h);
  const { runtime, session } = await open();
  const hint = new Float32Array(STITCH_KEYS.length + 1);
  hint[told ? STITCH_KEYS.indexOf(told) : STITCH_KEYS.length] = 1;
  const result = await session.run({
    patch: new runtime.Tensor('float32', input, [1, 1, h, w]),
    told: new runtime.Tensor('float32', hint, [1, hint.length]),
  });
  const maps = result.maps.data as Float32Array;
  const kind = softmax(result.kind.data as Float32Array);
  const n = (w / 2) * (h / 2);
  const plane = (i: number) => maps.slice(i * n, (i + 1) * n);
  return {
    widthPx: w / 2,
    heightPx: h / 2,
    rowCos: plane(0),
    stitchCos: plane(1),
    cloth: clothOf(plane(2), w / 2, texture),
    contrast: halved(texture, w / 2, h / 2),
    stitchPitchPx: pitchOf(plane(3)),
    rowPitchPx: pitchOf(plane(4)),
    cos2: plane(5),
    sin2: plane(6),
    stitchPitchSd: sdOf(plane(7)),
    rowPitchSd: sdOf(plane(8)),
    looksLike: STITCH_KEYS.map((stitch, i) => ({ stitch, weight: kind[i] })).sort(
      (a, b) => b.weight - a.weight,
    ),
  };
}

/** The picture made larger by repeating its last column and row. */
function padded({ widthPx, heightPx, data }: GrayImage, w: number, h: number): Float32Array {
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    const from = Math.min(y, heightPx - 1) * widthPx;
    for (let x = 0; x < w; x++) out[y * w + x] = data[from + Math.min(x, widthPx - 1)];
  }
  return out;
}

/** The contrast at every map pixel, that of the nearest pixel in the padding. */
function halved({ widthPx, heightPx, contrast }: Texture, w: number, h: number): Float32Array {
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    const from = Math.min(2 * y, heightPx - 1) * widthPx;
    for (let x = 0; x < w; x++) out[y * w + x] = contrast[from + Math.min(2 * x, widthPx - 1)];
  }
  return out;
}

/** Probabilities in place of their logits; none in the padding. */
function clothOf(logits: Float32Array, mapWidth: number, patch: GrayImage): Float32Array {
  for (let i = 0; i < logits.length; i++) {
    const isPadding = 2 * (i % mapWidth) >= patch.widthPx || 2 * Math.floor(i / mapWidth) >= patch.heightPx;
    logits[i] = isPadding ? 0 : 1 / (1 + Math.exp(-logits[i]));
  }
  return logits;
}

function pitchOf(octaves: Float32Array): Float32Array {
  for (let i = 0; i < octaves.length; i++) octaves[i] = 12 * Math.exp(Math.LN2 * octaves[i]);
  return octaves;
}

function sdOf(logs: Float32Array): Float32Array {
  for (let i = 0; i < logs.length; i++) logs[i] = Math.LN2 * Math.exp(Math.min(1.5, Math.max(-4, logs[i])));
  return logs;
}
