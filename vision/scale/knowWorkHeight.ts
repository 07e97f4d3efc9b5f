import { cv, pointsToMat, withMats } from '../cv.ts';
import type { Point, Scale } from '../types.ts';
import { convexHull } from './convexHull.ts';
import { centroid, contains } from './geometry.ts';
import type { Belief } from './poseFit.ts';
import { rulerStations } from './rulerStations.ts';
import { BELOW_TOPS_MM, CLOTH_HEIGHT_MM } from './workHeight.ts';

/** Yarn diameter ÷ stitch width of plain fabrics, and its standard deviation: from lace to dense toys. Common practice. */
const YARN_PER_STITCH = { mean: 0.45, sd: 0.09 };
/** Height of the cloth's mean surface above the table, in yarn diameters: two strands cross in plain cloth. */
const CLOTH_PER_YARN = { mean: 0.95, sd: 0.12 };
/** Cloth does not lie quite flat: waves lift it by this much, mm. Common practice. */
const LIE_MM = { mean: 0.25, sd: 0.5 };
/**
 * What is stiff rests on the highest strands: so far above the mean surface, in stitch widths. Little on the flat side
 * of stockinette, a third and more on crochet. Common practice.
 */
const TOPS_PER_STITCH = { mean: 0.27, sd: 0.1 };
/** How much less evenly than that, mm. */
const ON_CLOTH_SD_MM = 0.2;
/** Stitches that were hardly followed may be two for one; the width then says little of the yarn. */
const UNSURE_WIDTH_SD = 0.6;

export interface WorkHeightCorrection {
  /** Multiply every length measured with the scale by this. */
  factor: number;
  /** Relative standard uncertainty at the reference, in place of the scale's own. */
  relativeUncertainty: number;
}

/**
 * Puts what the stitches say of the cloth's thickness, and its outline of where the reference lies, in place of what was
 * assumed of both.
 *
 * Cloth is nearer to the camera than the table, so its stitches look larger than they are: 3 mm at 30 cm is
 * 1 %. The thickness follows from the yarn's, and that from the stitch's width. A reference inside the
 * cloth's outline (bays filled in) lies on the cloth, any other beside it; a ruler, as soon as a fifth of what was read
 * of it is inside. A ruler that the outline only touches may be either: where it lies across the cloth, what is seen
 * of the cloth can end at its edge.
 *
 * @param scale from `findScale`
 * @param stitchWidthMm as measured with that scale; null where no stitches could be read
 * @param clothOutlinePx decoded px
 * @param isFaint whether the stitches were hardly followed: then what is usual counts for more than they
 */
export function knowWorkHeight(
  scale: Scale,
  stitchWidthMm: number | null,
  clothOutlinePx: Point[],
  isFaint = false,
): WorkHeightCorrection {
  const assumed = scale.workHeight;
  if (!assumed) return { factor: 1, relativeUncertainty: scale.relativeUncertainty };
  const onCloth = assumed.onCloth ?? liesOn(scale, clothOutlinePx, TOUCHING_MM + (stitchWidthMm ?? 0));
  const on = topsBelow(stitchWidthMm);
  const beside = surfaceOf(stitchWidthMm, isFaint);
  const height = onCloth === null ? eitherOf(on, beside) : onCloth ? on : beside;
  const heightMm = height.mean - assumed.faceHeightMm;
  const sdMm = height.sd;
  const { relativePerMm } = assumed;
  const rest = scale.relativeUncertainty ** 2 - (relativePerMm * assumed.sdMm) ** 2;
  return {
    factor: Math.exp(relativePerMm * (heightMm - assumed.meanMm)),
    relativeUncertainty: Math.sqrt(Math.max(0.001 ** 2, rest) + (relativePerMm * sdMm) ** 2),
  };
}

/** The cloth's mean surface above what lies on its tops, mm. */
function topsBelow(stitchWidthMm: number | null): Belief {
  if (stitchWidthMm === null) return BELOW_TOPS_MM;
  // It goes along with the cloth's waves.
  return {
    mean: -TOPS_PER_STITCH.mean * stitchWidthMm,
    sd: Math.hypot(TOPS_PER_STITCH.sd * stitchWidthMm, ON_CLOTH_SD_MM),
  };
}

/** The cloth's mean surface above the table, mm. */
function surfaceOf(stitchWidthMm: number | null, isFaint: boolean): Belief {
  if (stitchWidthMm === null) return CLOTH_HEIGHT_MM;
  const yarnMm = YARN_PER_STITCH.mean * stitchWidthMm;
  const clothMm = CLOTH_PER_YARN.mean * yarnMm + LIE_MM.mean;
  const relative = Math.hypot(
    YARN_PER_STITCH.sd / YARN_PER_STITCH.mean,
    CLOTH_PER_YARN.sd / CLOTH_PER_YARN.mean,
    isFaint ? UNSURE_WIDTH_SD : 0,
  );
  const byStitches: Belief = { mean: clothMm, sd: Math.hypot(relative * clothMm, LIE_MM.sd) };
  return isFaint ? bothSay(byStitches, CLOTH_HEIGHT_MM) : byStitches;
}

/** A ruler is longer than a swatch is wide: where it lies on the cloth, its ends often do not. */
const LEAST_SHARE_ON_CLOTH = 0.2;

/** Both as likely. */
function eitherOf(a: Belief, b: Belief): Belief {
  const mean = (a.mean + b.mean) / 2;
  return { mean, sd: Math.sqrt((a.sd ** 2 + b.sd ** 2) / 2 + ((a.mean - b.mean) / 2) ** 2) };
}

/** Two independent beliefs of one thing. */
function bothSay(a: Belief, b: Belief): Belief {
  const [wa, wb] = [a.sd ** -2, b.sd ** -2];
  return { mean: (wa * a.mean + wb * b.mean) / (wa + wb), sd: (wa + wb) ** -0.5 };
}

/** Besides the width of a stitch, by which outlines of cloth fall short: as near as this a ruler touches it. */
const TOUCHING_MM = 2;

/** null when it cannot be told. */
function liesOn(scale: Scale, clothOutlinePx: Point[], touchingMm: number): boolean | null {
  // What lies on the cloth near its edge leaves a bay in the outline of the cloth that is seen.
  const cloth = convexHull(clothOutlinePx);
  if (scale.kind !== 'ruler' && scale.kind !== 'tape') {
    if (!contains(cloth, centroid(scale.outlinePx))) return false;
    // Cloth on a sheet of paper covers its middle, too, but not its corners.
    const corners = scale.outlinePx.filter((corner) => contains(cloth, corner)).length;
    if (corners >= scale.outlinePx.length / 2 || scale.kind === 'sheet') return true;
    // Corners marked by hand may be those of a sheet with its window cut out as well.
    return scale.kind === 'manual' ? null : false;
  }
  // along its middle line, between the ends of both edges
  const stations = rulerStations(scale.outlinePx, 21);
  const touchingPx = touchingMm / scale.mmPerPx;
  let inside = 0;
  let touching = 0;
  withMats((keep) => {
    const hull = keep(pointsToMat(cloth));
    // px inside the cloth's hull; negative outside
    const depth = (p: Point): number => cv.pointPolygonTest(hull, new cv.Point(p.x, p.y), true);
    for (const [p, q] of stations) {
      if (contains(cloth, { x: (p.x + q.x) / 2, y: (p.y + q.y) / 2 })) inside++;
      if (Math.max(depth(p), depth(q)) > -touchingPx) touching++;
    }
  });
  if (inside / stations.length >= LEAST_SHARE_ON_CLOTH) return true;
  return touching / stations.length >= LEAST_SHARE_ON_CLOTH ? null : false;
}
