import type { Fabric } from '../findFabric.ts';
import type { GrayImage } from '../types.ts';
import { readCloth, type ReadClothOptions } from './readCloth.ts';
import { READABLE_PITCH_PX } from './readTexture.ts';

/** One more reading of the same cloth, in picture pixels. */
export interface Sighting {
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Direction of the rows, degrees from the x axis, in (−90, 90]. */
  rowDirectionDeg: number;
}

/** How the cloth is read again: at this many times the size that reads best, and with its axes exchanged or not. */
export interface Look {
  zoom: number;
  turned: boolean;
}

/** In the order in which they are taken, those first that tell most for their time. */
export const LOOKS: readonly Look[] = [
  { zoom: 1, turned: true },
  { zoom: 0.74, turned: false },
  { zoom: 1.35, turned: true },
  { zoom: 1.35, turned: false },
];

/**
 * Reads the middle of the cloth once more, smaller, larger or with the axes exchanged.
 *
 * True stitches are read the same whatever their size in the picture and whichever way up it is held; what is
 * only taken for stitches is not. (A test of the answer by transforming its input, as in metamorphic
 * testing: Chen, Cheung and Yiu, HKUST-CS98-01, 1998.)
 *
 * @returns null when no rows or no stitches are seen this way
 */
export async function lookAgain(
  picture: GrayImage,
  fabric: Pick<Fabric, 'stitchPitchPx' | 'rowPitchPx' | 'bounds'>,
  { zoom, turned }: Look,
  options: Pick<ReadClothOptions, 'allowed' | 'stitch'> = {},
): Promise<Sighting | null> {
  const reading = await readCloth(picture, fabric, {
    ...options,
    turned,
    pitchPx: zoom * READABLE_PITCH_PX.best,
    mostTilePx: 130_000,
    grows: false,
  });
  if (!reading?.choices.row.length || !reading.choices.stitch.length) return null;
  const [stitch] = reading.choices.stitch;
  const [row] = reading.choices.row;
  const picturePerMap = 2 / reading.tile.scale;
  const { kx, ky } = row.wave;
  let direction = (Math.atan2(-kx, ky) * 180) / Math.PI;
  if (direction > 90) direction -= 180;
  if (direction <= -90) direction += 180;
  return {
    stitchPitchPx: stitch.pitch * picturePerMap,
    rowPitchPx: row.pitch * picturePerMap,
    rowDirectionDeg: direction,
  };
}
