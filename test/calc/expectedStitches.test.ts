import { describe, expect, it } from 'vitest';
import { expectedStitches, YARN_CATEGORIES } from '../../calc/index.ts';

describe('expectedStitches', () => {
  // Standard Yarn Weight System (Craft Yarn Council, yarnstandards.com): medium, 11 to 14 single crochet and 16 to 20
  // knit stitches in 4 in; 4 in = 101.6 mm.
  it.each([
    ['sc', 11, 14],
    ['stockinette', 16, 20],
    [null, 11, 20],
  ] as const)('gives what is usual in medium yarn for %s', (stitch, low, high) => {
    const usual = expectedStitches(YARN_CATEGORIES[4]!, stitch);
    expect(usual.low).toBeCloseTo(low / 1.016, 9);
    expect(usual.high).toBeCloseTo(high / 1.016, 9);
  });
});
