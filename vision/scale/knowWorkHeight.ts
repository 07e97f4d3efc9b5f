import type { Point, Scale } from '../types.ts';
import { centroid, contains } from './geometry.ts';

/** Yarn diameter ÷ stitch width of plain fabrics, and its standard deviation. Common practice. */
const YARN_PER_STITCH = { mean: 0.4, sd: 0.07 };
/** Height of the cloth's mean surface above the table, in yarn diameters: two strands cross in plain cloth. */
const CLOTH_PER_YARN = { mean: 0.95, sd: 0.2 };
/** Cloth does not lie flat to better than this, mm. */
const LIE_SD_MM = 0.5;

export interface WorkHeightCorrection {
  /** Multiply every length measured with the scale by this. */
  factor: number;
  /** Relative standard uncertainty at the reference, in place of the scale's own. */
  relativeUncertainty: number;
}

/**
 * Puts what the stitches say of the cloth's thickness in place of what was assumed of it.
 *
 * Cloth is nearer to the camera than the table, so its stitches look larger than they are: 3 mm at 30 cm is
 * 1 %. The thickness follows from the yarn's, and that from the stitch's width. A reference inside the
 * cloth's outline lies on the cloth, any other beside it.
 *
 * @param scale from `findScale`
 * @param stitchWidthMm as measured with that scale
 * @param clothOutlinePx decoded px
 */
export function knowWorkHeight(
  scale: Scale,
  stitchWidthMm: number,
  clothOutlinePx: Point[],
): WorkHeightCorrection {
  const assumed = scale.workHeight;
  if (!assumed) return { factor: 1, relativeUncertainty: scale.relativeUncertainty };
  const yarnMm = YARN_PER_STITCH.mean * stitchWidthMm;
  const clothMm = CLOTH_PER_YARN.mean * yarnMm;
  const relative = Math.hypot(
    YARN_PER_STITCH.sd / YARN_PER_STITCH.mean,
    CLOTH_PER_YARN.sd / CLOTH_PER_YARN.mean,
  );
  const onCloth = assumed.onCloth ?? contains(clothOutlinePx, centroid(scale.outlinePx));
  // On the cloth it rests on the tops of the strands, a third of a strand above the mean surface.
  const heightMm = (onCloth ? -yarnMm / 3 : clothMm) - assumed.faceHeightMm;
  const sdMm = onCloth ? Math.hypot(0.3 * yarnMm, LIE_SD_MM) : Math.hypot(relative * clothMm, LIE_SD_MM);
  const { relativePerMm } = assumed;
  const rest = scale.relativeUncertainty ** 2 - (relativePerMm * assumed.sdMm) ** 2;
  return {
    factor: Math.exp(relativePerMm * (heightMm - assumed.meanMm)),
    relativeUncertainty: Math.sqrt(Math.max(0.001 ** 2, rest) + (relativePerMm * sdMm) ** 2),
  };
}
