import { describe, expect, it } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
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

describe('a ruler across a swatch', () => {
  it('is no edge of it: what it hides is not counted to, and what it does not is', async () => {
    const spec = randomSceneSpec(1060080, { references: ['ruler'] });
    const { stitch, stitchCount, rowCount } = spec.fabric!.spec;
    expect([stitchCount, rowCount, spec.reference!.lies]).toEqual([15, 14, 'on-fabric']);
    const { jpeg } = await renderScene(spec);
    const { scale, counted } = await measurePhoto(jpeg, { stitch });
    expect(scale?.kind).toBe('ruler');
    // it had counted 9 stitches, up to the ruler
    expect(counted.stitches).toBeNull();
    expect(counted.rows?.value).toBe(14);
  }, 60_000);
});
