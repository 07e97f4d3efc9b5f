import { describe, expect, it } from 'vitest';
import { meanOfPlanes, signsTogether, variationsOf } from '../../vision/scale/ruler/heldPlanes.ts';
import type { WeighedPlane } from '../../vision/scale/ruler/weighPlanes.ts';
import type { Matrix3 } from '../../vision/types.ts';

/** A plane of so many mm to a px that grows by so much for each px down, known to a share. */
function plane(mmPerPx: number, perPx: number, share: number, sigma = 0): WeighedPlane {
  const at = ([d = 0]: number[]): Matrix3 => [mmPerPx * (1 + d), 0, 0, 0, mmPerPx * (1 + d), 0, 0, perPx, 1];
  const covariance = [
    [sigma * sigma + 1e-18, 0],
    [0, 0],
  ];
  return {
    plane: {
      homographyPxToMm: at([]),
      homographyAt: at,
      radialDistortion: 0,
      covariance,
    } as unknown as WeighedPlane['plane'],
    bent: false,
    share,
  };
}

describe('planes of which one is the true one', () => {
  const planes = [plane(1, 0, 0.75, 0.01), plane(1, 0.0004, 0.25, 0.01)];

  it('have a mean, each as likely as it is', () => {
    const { homographyPxToMm } = meanOfPlanes(planes);
    expect(homographyPxToMm[7]).toBeCloseTo(0.0001, 12);
    expect(homographyPxToMm[0]).toBeCloseTo(1, 12);
  });

  it('vary about it by what each of them varies by, and by how far they lie from it', () => {
    const mean = meanOfPlanes(planes);
    const variance = (e: number): number =>
      variationsOf(planes).reduce(
        (sum, { homographyPxToMm, weight }) =>
          sum + weight * (homographyPxToMm[e]! - mean.homographyPxToMm[e]!) ** 2,
        0,
      );
    expect(Math.sqrt(variance(0))).toBeCloseTo(0.01, 6);
    // two places 0.0004 apart, one of them three times as likely
    expect(Math.sqrt(variance(7))).toBeCloseTo(0.0004 * Math.sqrt(0.75 * 0.25), 9);
  });
});

describe('signs of several things', () => {
  it('are all of their looks, and each possibility of one with each of the others', () => {
    const one = { looks: () => [1, 2], beliefs: [{ sd: [0.1, 0.2], share: 0.7 }, { sd: [0.3, 0.4], share: 0.3 }] }; // prettier-ignore
    const other = { looks: () => [3], beliefs: [{ sd: [0.5], share: 0.6 }, { sd: [0.6], share: 0.4 }] }; // prettier-ignore
    const { looks, beliefs } = signsTogether([one, other]);
    expect(looks({ homographyPxToMm: [1, 0, 0, 0, 1, 0, 0, 0, 1], radialDistortion: null })).toEqual([
      1, 2, 3,
    ]);
    expect(beliefs.map(({ sd }) => sd)).toEqual([
      [0.1, 0.2, 0.5],
      [0.1, 0.2, 0.6],
      [0.3, 0.4, 0.5],
      [0.3, 0.4, 0.6],
    ]);
    expect(beliefs.map(({ share }) => share)).toEqual(
      [0.42, 0.28, 0.18, 0.12].map((v) => expect.closeTo(v, 9)),
    );
  });
});
