import { describe, expect, it } from 'vitest';
import { holdAgainstRuler } from '../../vision/scale/holdAgainstRuler.ts';
import type { Scale } from '../../vision/types.ts';

/** A scale of so many mm per px all over. */
function scale(kind: Scale['kind'], mmPerPx: number, confidence: number): Scale {
  return {
    kind,
    variety: 'any',
    homographyPxToMm: [mmPerPx, 0, 0, 0, mmPerPx, 0, 0, 0, 1],
    homographyCovariance: new Array<number>(81).fill(0),
    mmPerPx,
    tiltDeg: 0,
    relativeUncertainty: 0.004,
    relativeUncertaintyPerReferenceLength: 0.004,
    outlinePx: [
      { x: 100, y: 100 },
      { x: 400, y: 100 },
      { x: 400, y: 300 },
      { x: 100, y: 300 },
    ],
    radialDistortion: null,
    confidence,
    advice: [],
  };
}
const confidences = (...found: Scale[]): number[] => holdAgainstRuler(found).map((s) => s.confidence);

describe('a card beside a ruler', () => {
  it('is taken where both say the same', () => {
    const [card, ruler] = confidences(scale('card', 0.2, 0.97), scale('ruler', 0.204, 1));
    expect(card).toBe(0.97);
    expect(ruler).toBeLessThan(0.97);
  });

  it('is a label of its shape where sure ticks say otherwise, and the ruler is taken', () => {
    const [card, ruler] = confidences(scale('card', 0.26, 0.97), scale('ruler', 0.2, 1));
    expect(card).toBeLessThan(0.5);
    expect(ruler).toBe(1);
  });

  it('is doubtful where the ticks are, too', () => {
    expect(confidences(scale('card', 0.26, 0.97), scale('tape', 0.2, 0.6))).toEqual([0.6, 0.6]);
  });

  it('is as it was where the ticks are not trusted, and alone', () => {
    expect(confidences(scale('card', 0.26, 0.97), scale('ruler', 0.2, 0.3))[0]).toBe(0.97);
    expect(confidences(scale('card', 0.26, 0.97))).toEqual([0.97]);
  });
});
