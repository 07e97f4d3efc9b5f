import type { MaskImage } from '../types.ts';
import type { TextureMaps } from './readTexture.ts';
import type { Tile } from './resample.ts';

/**
 * Where cloth may count, per map pixel: the reader's probability of cloth, and nothing where the picture's
 * mask forbids it (on the reference, outside the photo or the maker's region).
 *
 * @returns same size as the maps, 0…1
 */
export function clothWeight(
  maps: Pick<TextureMaps, 'widthPx' | 'heightPx' | 'cloth'>,
  tile: Pick<Tile, 'leftPx' | 'topPx' | 'scale'>,
  allowed: MaskImage | undefined,
): Float32Array {
  const weight = Float32Array.from(maps.cloth);
  if (!allowed) return weight;
  for (let y = 0; y < maps.heightPx; y++) {
    for (let x = 0; x < maps.widthPx; x++) {
      const px = Math.min(allowed.widthPx - 1, Math.round(tile.leftPx + (2 * x + 0.5) / tile.scale));
      const py = Math.min(allowed.heightPx - 1, Math.round(tile.topPx + (2 * y + 0.5) / tile.scale));
      if (allowed.data[py * allowed.widthPx + px] === 0) weight[y * maps.widthPx + x] = 0;
    }
  }
  return weight;
}
