import { describe, expect, it } from 'vitest';
import { coveredPlaces } from '../../vision/sight/coveredPlaces.ts';

describe('coveredPlaces', () => {
  it('are where a ruler or card is more likely than all else, and nowhere out of the picture', () => {
    const at = (x: number, value: number) => new Float32Array(4).map((_, i) => (i === x ? value : 0.02));
    const maps = {
      widthPx: 4,
      heightPx: 1,
      shows: { table: at(0, 0.9), ruler: at(1, 0.4), card: at(1, 0.2), paper: at(2, 0.9), cloth: at(3, 0.9) },
      withinCard: at(0, 0),
    };
    const isCovered = coveredPlaces({ maps, scale: 0.5 });
    // map pixel i shows photo pixels 4i to 4i + 3
    const along = [-4, 1.5, 5.5, 9.5, 13.5, 20].map((x) => isCovered({ x, y: 1.5 }));
    expect(along).toEqual([false, false, true, false, false, false]);
  });
});
