import { describe, expect, it } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { findScale } from '../../vision/findScale.ts';
import { confidenceOf, readGraduations } from '../../vision/scale/ruler/readGraduations.ts';
import { sightRulers } from '../../vision/sight/sightRulers.ts';
import { sightWhole } from '../../vision/sight/sightCards.ts';

describe('an inch tape whose sixteenths and eighths were both read as eighths', () => {
  it('is not sure of either', async () => {
    const spec = randomSceneSpec(1100160, { references: ['tape'] });
    delete spec.fabric!.spec.yarn.swell;
    const { jpeg, truth } = await renderScene(spec);
    expect(truth.reference?.variety).toContain('inch');
    const photo = await decodePhoto(jpeg, { maxSidePx: 3000 });
    const sighted = sightRulers(await sightWhole(photo.rgb));
    const disputed = readGraduations(photo.gray, { rgb: photo.rgb, sighted }).filter((r) => r.disputed);
    expect(disputed.map((r) => r.named?.key)).toEqual(expect.arrayContaining(['inch-8', 'inch-8']));
    for (const reading of disputed) expect(confidenceOf(reading)).toBeLessThanOrEqual(0.6);
    // the pale table round it is no sheet of paper either, as nothing looks like one
    const { scale, others } = await findScale(photo);
    expect([scale, ...others].filter((s) => s?.kind === 'paper')).toEqual([]);
  });
});
