import { describe, expect, it } from 'vitest';
import { doubtWide } from '../../vision/scale/doubtWide.ts';
import type { Scale } from '../../vision/types.ts';

const scale = (relativeUncertainty: number, relativeUncertaintyPerReferenceLength: number, confidence = 1) =>
  ({ relativeUncertainty, relativeUncertaintyPerReferenceLength, confidence }) as Scale;

describe('a scale whose plane is hardly known', () => {
  it('is doubtful, however surely the thing was recognised', () => {
    expect(doubtWide(scale(0.013, 0.09)).confidence).toBe(0.6);
    expect(doubtWide(scale(0.06, 0)).confidence).toBe(0.6);
  });

  it('leaves others as sure as they were', () => {
    expect(doubtWide(scale(0.005, 0.01)).confidence).toBe(1);
    expect(doubtWide(scale(0.06, 0, 0.2)).confidence).toBe(0.2);
  });
});
