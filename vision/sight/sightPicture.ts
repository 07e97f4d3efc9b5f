import { openOnce } from '../network.ts';
import type { RgbImage } from '../types.ts';

/** What the network tells apart, in the order of its outputs. Table is whatever is none of the others. */
export const SIGHTED = ['table', 'card', 'paper', 'ruler', 'cloth'] as const;
export type Sighted = (typeof SIGHTED)[number];

/** What is seen where. All maps have half the picture's size; map pixel (i, j) ↔ picture (2i + ½, 2j + ½). */
export interface SightMaps {
  widthPx: number;
  heightPx: number;
  /** Probability, 0…1, of each thing. */
  shows: Record<Sighted, Float32Array>;
  /** Log-odds that this lies within a card's outline, also where something covers the card. */
  withinCard: Float32Array;
}

const open = openOnce(new URL('./model/sight.onnx', import.meta.url));

/** The network halves its picture five times. */
const MULTIPLE = 32;

/**
 * Says for each place of a picture whether it shows a card, paper, a ruler or tape, cloth or something else.
 *
 * The network (`fixtures/training/trainSight.py`) is a small U-Net (Ronneberger, Fischer and Brox, MICCAI 2015) trained
 * only on generated scenes. It knows cards whose long side is about 16 to 200 px. Its answers propose and confirm; where
 * exactly a thing's edges lie is measured in the photo itself.
 *
 * @param picture any size; larger ones take longer (0.4 · 10⁶ px: about 0.4 s in WebAssembly)
 * @example
 * const maps = await sightPicture((await shrinkWhole(photo.rgb, 384)).rgb);
 * maps.shows.card[0]; // whether the top-left corner shows a card
 */
export async function sightPicture(picture: RgbImage): Promise<SightMaps> {
  const w = MULTIPLE * Math.ceil(picture.widthPx / MULTIPLE);
  const h = MULTIPLE * Math.ceil(picture.heightPx / MULTIPLE);
  const { runtime, session } = await open();
  const result = await session.run({
    picture: new runtime.Tensor('float32', planesOf(picture, w, h), [1, 3, h, w]),
  });
  const maps = result.maps.data as Float32Array;
  const n = (w / 2) * (h / 2);
  const widthPx = Math.ceil(picture.widthPx / 2);
  const heightPx = Math.ceil(picture.heightPx / 2);
  const shares = probabilities(maps, n);
  const cut = (plane: Float32Array) => withoutPadding(plane, w / 2, widthPx, heightPx);
  return {
    widthPx,
    heightPx,
    shows: {
      table: cut(shares[0]!),
      card: cut(shares[1]!),
      paper: cut(shares[2]!),
      ruler: cut(shares[3]!),
      cloth: cut(shares[4]!),
    },
    withinCard: cut(maps.subarray(SIGHTED.length * n, (SIGHTED.length + 1) * n)),
  };
}

/** Three planes about zero; the last column and row are repeated into the padding. */
function planesOf({ widthPx, heightPx, data }: RgbImage, w: number, h: number): Float32Array {
  const out = new Float32Array(3 * w * h);
  for (let y = 0; y < h; y++) {
    const row = Math.min(y, heightPx - 1) * widthPx;
    for (let x = 0; x < w; x++) {
      const from = 3 * (row + Math.min(x, widthPx - 1));
      for (let c = 0; c < 3; c++) out[c * w * h + y * w + x] = (data[from + c]! / 255 - 0.5) * 4;
    }
  }
  return out;
}

function probabilities(logits: Float32Array, n: number): Float32Array[] {
  const shares = SIGHTED.map((_, c) => logits.slice(c * n, (c + 1) * n));
  for (let i = 0; i < n; i++) {
    let most = -Infinity;
    for (const plane of shares) most = Math.max(most, plane[i]!);
    let sum = 0;
    for (const plane of shares) sum += plane[i] = Math.exp(plane[i]! - most);
    for (const plane of shares) plane[i]! /= sum;
  }
  return shares;
}

function withoutPadding(plane: Float32Array, width: number, widthPx: number, heightPx: number): Float32Array {
  const out = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) out.set(plane.subarray(y * width, y * width + widthPx), y * widthPx);
  return out;
}
