import { describe, expect, it } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { confidenceOf, readGraduations } from '../../vision/scale/ruler/readGraduations.ts';
import { sightWhole } from '../../vision/sight/sightCards.ts';
import { sightRulers } from '../../vision/sight/sightRulers.ts';

describe('inch ticks that repeat all the more at half the distance that was seen first', () => {
  it('are followed there', async () => {
    const { jpeg, truth } = await renderScene(randomSceneSpec(1060171, { references: ['ruler'] }));
    expect(truth.reference?.variety).toBe('both');
    const photo = await decodePhoto(jpeg, { maxSidePx: 3000 });
    const sighted = sightRulers(await sightWhole(photo.rgb));
    const inch = readGraduations(photo.gray, { rgb: photo.rgb, sighted }).filter((r) => r.named);
    expect(inch.some((r) => confidenceOf(r) > 0.8 && r.named!.key.startsWith('inch'))).toBe(true);
  });
});
