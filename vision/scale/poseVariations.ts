import { CholeskyDecomposition } from 'ml-matrix';
import type { ScaleVariation } from '../types.ts';
import { moved, workHomography, type PoseSolution } from './poseFit.ts';

/**
 * A pose moved by one standard deviation along each of eight independent ways in which the fit is unsure: the columns of
 * a square root of its covariance (JCGM 101:2008, 6.4.8.4). Focal length, lens and plane go together in them, as the fit
 * knows them together.
 */
export function poseVariations({ input, pose, covariance }: PoseSolution): ScaleVariation[] {
  const cholesky = new CholeskyDecomposition(covariance.clone().add(covariance.transpose()).mul(0.5));
  if (!cholesky.isPositiveDefinite()) return [];
  const { lowerTriangularMatrix: root } = cholesky;
  return root.diagonal().map((_, k) => {
    const other = moved(pose, root.getColumn(k));
    return { homographyPxToMm: workHomography(input, other, 0, 0), radialDistortion: other.k1, weight: 1 };
  });
}
