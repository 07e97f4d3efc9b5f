import { quantile } from 'simple-statistics';
import type { MaskImage } from '../types.ts';
import type { TextureMaps } from './readTexture.ts';
import type { Tile } from './resample.ts';

/**
 * Fainter than this share of the strongest texture in view is no cloth but the camera's noise on a plain table. In 30
 * generated photos, striped and flat-lit ones among them, no part of the cloth was below 0.3; of what was taken for
 * cloth beside it, half was below 0.1.
 */
const FAINTEST = 0.15;

/** One step of eight bits: below it there is nothing to see. */
const LEAST_CONTRAST = 1 / 255;

/** Every so many map pixels are enough to know the strongest texture by. */
const STRIDE = 7;

/**
 * Where cloth may count, per map pixel: the reader's probability of cloth; nothing where the texture is far fainter
 * than the rest, and nothing where the picture's mask forbids it (on the reference, outside the photo or the maker's
 * region).
 *
 * @returns same size as the maps, 0…1
 */
export function clothWeight(
  maps: Pick<TextureMaps, 'widthPx' | 'heightPx' | 'cloth' | 'contrast'>,
  tile: Pick<Tile, 'leftPx' | 'topPx' | 'scale'>,
  allowed: MaskImage | undefined,
): Float32Array {
  const { cloth, contrast } = maps;
  const weight = allowed ? allowedCloth(maps, tile, allowed) : cloth.slice();
  const seen: number[] = [];
  for (let i = 0; i < weight.length; i += STRIDE) if (weight[i] > 0.5) seen.push(contrast[i]);
  const least = Math.max(LEAST_CONTRAST, seen.length > 0 ? FAINTEST * quantile(seen, 0.9) : 0);
  for (let i = 0; i < weight.length; i++) if (contrast[i] < least) weight[i] = 0;
  return weight;
}

function allowedCloth(
  { widthPx, heightPx, cloth }: Pick<TextureMaps, 'widthPx' | 'heightPx' | 'cloth'>,
  tile: Pick<Tile, 'leftPx' | 'topPx' | 'scale'>,
  allowed: MaskImage,
): Float32Array {
  const weight = new Float32Array(cloth.length);
  for (let y = 0; y < heightPx; y++) {
    const py = Math.min(allowed.heightPx - 1, Math.round(tile.topPx + (2 * y + 0.5) / tile.scale));
    for (let x = 0; x < widthPx; x++) {
      const px = Math.min(allowed.widthPx - 1, Math.round(tile.leftPx + (2 * x + 0.5) / tile.scale));
      if (allowed.data[py * allowed.widthPx + px] > 0) weight[y * widthPx + x] = cloth[y * widthPx + x];
    }
  }
  return weight;
}
