import type { GrayImage, RgbImage } from './types.ts';

/** A rectangle of whole pixels inside a picture. */
export interface PicturePart {
  leftPx: number;
  topPx: number;
  widthPx: number;
  heightPx: number;
}

/**
 * Luma of an sRGB picture, 0…1, with the BT.601 weights (ITU-R BT.601-7, section 2.5.1).
 *
 * It is worked out where it is asked for: kept, it would take more memory than the colours. `copyPart` gives a part
 * without keeping anything; reading `data` makes all of it and keeps it.
 *
 * @example
 * const gray = new Luma(rgb);
 * copyPart(gray, { leftPx: 0, topPx: 0, widthPx: 64, heightPx: 1 }, row);
 */
export class Luma implements GrayImage {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly #rgb: RgbImage;
  #data: Float32Array | null = null;

  constructor(rgb: RgbImage) {
    this.widthPx = rgb.widthPx;
    this.heightPx = rgb.heightPx;
    this.#rgb = rgb;
  }

  get data(): Float32Array {
    if (!this.#data) {
      const { widthPx, heightPx } = this;
      this.#data = new Float32Array(widthPx * heightPx);
      lumaOfPart(this.#rgb, { leftPx: 0, topPx: 0, widthPx, heightPx }, this.#data);
    }
    return this.#data;
  }

  copyPart(part: PicturePart, to: Float32Array): void {
    if (this.#data) copyRows(this, part, to);
    else lumaOfPart(this.#rgb, part, to);
  }
}

/**
 * Copies a rectangle of a grey picture into `to`, row after row.
 *
 * @param part must lie inside the picture
 */
export function copyPart(gray: GrayImage, part: PicturePart, to: Float32Array): void {
  if (gray instanceof Luma) gray.copyPart(part, to);
  else copyRows(gray, part, to);
}

function copyRows(
  gray: GrayImage,
  { leftPx, topPx, widthPx, heightPx }: PicturePart,
  to: Float32Array,
): void {
  for (let y = 0; y < heightPx; y++) {
    const from = (topPx + y) * gray.widthPx + leftPx;
    to.set(gray.data.subarray(from, from + widthPx), y * widthPx);
  }
}

function lumaOfPart(
  rgb: RgbImage,
  { leftPx, topPx, widthPx, heightPx }: PicturePart,
  to: Float32Array,
): void {
  const { data } = rgb;
  const words = wordsOf(data);
  for (let y = 0, i = 0; y < heightPx; y++) {
    const end = i + widthPx;
    let j = 3 * ((topPx + y) * rgb.widthPx + leftPx);
    if (words) {
      for (; j % 4 !== 0 && i < end; i++, j += 3) to[i] = lumaOf(data[j]!, data[j + 1]!, data[j + 2]!);
      const fours = (end - i) >> 2;
      lumaOfFours(words, j >> 2, fours, to, i);
      i += 4 * fours;
      j += 12 * fours;
    }
    for (; i < end; i++, j += 3) to[i] = lumaOf(data[j]!, data[j + 1]!, data[j + 2]!);
  }
}

function lumaOf(r: number, g: number, b: number): number {
  return (0.299 * r + 0.587 * g + 0.114 * b) / 255;
}

const IS_LITTLE_ENDIAN = new Uint8Array(Uint32Array.of(1).buffer)[0] === 1;

/** The same bytes four at a time, the first in the lowest bits; null where they cannot be read so. */
function wordsOf(data: Uint8Array): Uint32Array | null {
  if (!IS_LITTLE_ENDIAN || data.byteOffset % 4 !== 0) return null;
  return new Uint32Array(data.buffer, data.byteOffset, data.length >> 2);
}

/** Four pixels are three words: reading those takes half as long as reading twelve bytes. */
function lumaOfFours(words: Uint32Array, from: number, count: number, to: Float32Array, at: number): void {
  for (let n = 0, j = from, i = at; n < count; n++, j += 3, i += 4) {
    const a = words[j]!;
    const b = words[j + 1]!;
    const c = words[j + 2]!;
    to[i] = lumaOf(a & 255, (a >>> 8) & 255, (a >>> 16) & 255);
    to[i + 1] = lumaOf(a >>> 24, b & 255, (b >>> 8) & 255);
    to[i + 2] = lumaOf((b >>> 16) & 255, b >>> 24, c & 255);
    to[i + 3] = lumaOf((c >>> 8) & 255, (c >>> 16) & 255, c >>> 24);
  }
}
