import { describe, expect, it } from 'vitest';
import { birgeMean } from '../../vision/birgeMean.ts';

describe('birgeMean', () => {
  const at = (value: number, standardUncertainty: number) => ({ value, standardUncertainty });

  it('weighs each by how sure it is, and is as sure as both together (JCGM 100:2008, 5.1.2)', () => {
    const mean = birgeMean(at(10, 3), at(12, 4));
    expect(mean.value).toBeCloseTo((10 / 9 + 12 / 16) / (1 / 9 + 1 / 16), 12);
    expect(mean.standardUncertainty).toBeCloseTo((3 * 4) / 5, 12);
  });

  it('is less sure by the Birge ratio where they lie apart (Phys. Rev. 40, 207, 1932)', () => {
    expect(birgeMean(at(0, 3), at(10, 4)).standardUncertainty).toBeCloseTo(((3 * 4) / 5) * (10 / 5), 12);
  });
});
