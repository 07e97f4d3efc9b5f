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
  for (let y = 0, i = 0; y < heightPx; y++) {
    let j = 3 * ((topPx + y) * rgb.widthPx + leftPx);
    for (const end = i + widthPx; i < end; i++, j += 3) {
      to[i] = (0.299 * data[j]! + 0.587 * data[j + 1]! + 0.114 * data[j + 2]!) / 255;
    }
  }
}
