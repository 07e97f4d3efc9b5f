import { describe, expect, it } from 'vitest';
import { doubtWide } from '../../vision/scale/doubtWide.ts';
import type { Scale } from '../../vision/types.ts';

/** Something of 500 × 100 px. */
const scale = (
  relativeUncertainty: number,
  relativeUncertaintyPerReferenceLength: number,
  { confidence = 1, mmPerPx = 0.17 } = {},
) =>
  ({
    relativeUncertainty,
    relativeUncertaintyPerReferenceLength,
    confidence,
    mmPerPx,
    outlinePx: [
      { x: 0, y: 0 },
      { x: 500, y: 0 },
      { x: 500, y: 100 },
      { x: 0, y: 100 },
    ],
  }) as Scale;

describe('a scale whose plane is hardly known', () => {
  it('is doubtful, however surely the thing was recognised', () => {
    expect(doubtWide(scale(0.013, 0.09)).confidence).toBe(0.6);
    expect(doubtWide(scale(0.06, 0)).confidence).toBe(0.6);
  });

  it('is not doubtful for what lies a whole tape away from it, where no swatch lies', () => {
    // 0.4 m long
    expect(doubtWide(scale(0.01, 0.09, { mmPerPx: 0.8 })).confidence).toBe(1);
    expect(doubtWide(scale(0.01, 0.2, { mmPerPx: 0.8 })).confidence).toBe(0.6);
  });

  it('leaves others as sure as they were', () => {
    expect(doubtWide(scale(0.005, 0.01)).confidence).toBe(1);
    expect(doubtWide(scale(0.06, 0, { confidence: 0.2 })).confidence).toBe(0.2);
  });
});
