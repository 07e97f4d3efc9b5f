import { describe, expect, it } from 'vitest';
import { isTapeWanted, preferFarTape } from '../../vision/scale/ruler/preferFarTape.ts';
import type { Scale } from '../../vision/types.ts';

const SIZE = { widthPx: 2000, heightPx: 1500 };

function scale(kind: Scale['kind'], mmPerPx: number, confidence: number): Scale {
  return {
    kind,
    variety: 'metric',
    homographyPxToMm: [mmPerPx, 0, 0, 0, mmPerPx, 0, 0, 0, 1],
    homographyCovariance: null,
    mmPerPx,
    tiltDeg: 0,
    relativeUncertainty: 0.002,
    relativeUncertaintyPerReferenceLength: 0.01,
    outlinePx: [
      { x: 100, y: 100 },
      { x: 1900, y: 100 },
      { x: 1900, y: 130 },
      { x: 100, y: 130 },
    ],
    radialDistortion: null,
    confidence,
    advice: [],
  };
}

const best = (list: Scale[]): Scale => list.reduce((a, b) => (b.confidence > a.confidence ? b : a));

describe('a tape read from afar', () => {
  it('is looked for where nothing is trusted, or only ticks from far off', () => {
    expect(isTapeWanted([])).toBe(true);
    expect(isTapeWanted([scale('card', 0.5, 0.3)])).toBe(true);
    expect(isTapeWanted([scale('tape', 0.5, 1)])).toBe(true);
    expect(isTapeWanted([scale('tape', 0.1, 1)])).toBe(false);
    // a millimetre is more than 3 px: its ticks were read
    expect(isTapeWanted([scale('ruler', 0.3, 1)])).toBe(false);
    expect(isTapeWanted([scale('sheet', 0.5, 0.9)])).toBe(false);
  });

  it('comes instead of ticks that agree with it', () => {
    const far = scale('tape', 0.5, 0.6);
    expect(best(preferFarTape([scale('ruler', 0.51, 1)], far, SIZE))).toBe(far);
  });

  it('is doubtful where ticks say otherwise, and stays so when it is held against something else', () => {
    const far = { ...scale('tape', 0.5, 0.6), heldAgainst: () => scale('tape', 0.5, 0.6) };
    const found = best(preferFarTape([scale('ruler', 1.27, 1)], far, SIZE));
    expect(found.mmPerPx).toBe(0.5);
    expect(found.confidence).toBeLessThan(0.8);
    expect(found.heldAgainst!(() => [], [])!.confidence).toBeLessThan(0.8);
    // What was hardly a tape before is no surer for being contradicted.
    const hardly = { ...scale('tape', 0.5, 0.5), isSurelyRead: true };
    const contradicted = preferFarTape([scale('ruler', 1.27, 1)], hardly, SIZE).find(
      (s) => s.mmPerPx === 0.5,
    )!;
    expect(contradicted.confidence).toBe(0.5);
    expect(contradicted.isSurelyRead).toBe(false);
  });

  it('changes nothing in a photo from near by', () => {
    const near = [scale('ruler', 0.1, 0.4)];
    expect(preferFarTape(near, scale('tape', 0.1, 0.9), SIZE)).toEqual(near);
  });
});
