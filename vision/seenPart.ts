import type { PicturePart } from './luma.ts';

/**
 * The part of a picture that lies between points, with the pixels next to it; never empty.
 *
 * @param size of the picture, px
 * @param x the points' places across, px; they may lie outside
 * @param y and down
 *
 * @example
 * seenPart({ widthPx: 100, heightPx: 80 }, [10.5, 20], [-3, 4]); // { leftPx: 9, topPx: 0, widthPx: 13, heightPx: 6 }
 */
export function seenPart(
  { widthPx, heightPx }: { widthPx: number; heightPx: number },
  x: ArrayLike<number>,
  y: ArrayLike<number>,
): PicturePart {
  const [left, right] = spanOf(x, widthPx);
  const [top, bottom] = spanOf(y, heightPx);
  return { leftPx: left, topPx: top, widthPx: right - left, heightPx: bottom - top };
}

/** First pixel and the one after the last. */
function spanOf(places: ArrayLike<number>, length: number): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < places.length; i++) {
    low = Math.min(low, places[i]!);
    high = Math.max(high, places[i]!);
  }
  const from = Math.min(length - 1, Math.max(0, Math.floor(low) - 1));
  return [from, Math.min(length, Math.max(from + 1, Math.ceil(high) + 2))];
}
