import { describe, expect, it } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { mmPerPxAt } from '../../vision/scale/lens.ts';
import { findRulerScales } from '../../vision/scale/ruler/findRulerScales.ts';

describe('a tape in a bend, of which the file does not say the lens', () => {
  it('is not taken for a ruler seen steeply through a long lens', async () => {
    const { jpeg, truth } = await renderScene(randomSceneSpec(1110436, { references: ['tape'] }));
    const { cornersPx, homographyPxToMm } = truth.reference!;
    const photo = await decodePhoto(jpeg, { maxSidePx: 3000 });
    expect(photo.focalLength35mm).toBeNull();
    const at = {
      x: cornersPx.reduce((s, p) => s + p.x, 0) / cornersPx.length,
      y: cornersPx.reduce((s, p) => s + p.y, 0) / cornersPx.length,
    };
    const f = photo.decodeScale;
    const [scale] = findRulerScales(photo, { kinds: ['ruler', 'tape'] });
    const seen = mmPerPxAt(
      scale!.homographyPxToMm,
      scale!.radialDistortion,
      { x: at.x * f, y: at.y * f },
      photo.rgb,
    );
    const drawn = mmPerPxAt(homographyPxToMm, truth.radialDistortion, at, truth) / f;
    expect(scale!.tiltDeg).toBeLessThan(truth.tiltDeg + 8);
    expect(Math.abs(Math.log(seen / drawn))).toBeLessThan(3 * scale!.relativeUncertainty);
  });
});
