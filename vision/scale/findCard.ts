import type { DecodedPhoto, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import { cornersOf, fitSides, type SideFit } from './edgeFit.ts';
import { centroid, distance, inverted, type Quad } from './geometry.ts';
import { mmPerPxAt } from './lens.ts';
import { fitPose, type Belief, type PoseFit } from './poseFit.ts';
import { findQuads } from './quadFinder.ts';
import { cornerLooks, type CornerLooks } from './roundness.ts';

/** ISO/IEC 7810, ID-1. */
export const CARD_MM = { widthMm: 85.6, heightMm: 53.98, cornerRadiusMm: 3.18, thicknessMm: 0.76 } as const;

/** Cards keep the standard's sides to ± 0.13 mm or better; half that, over the mean side. */
const CARD_SIZE_SD = 0.0009;

export interface CardFinding {
  quad: Quad;
  sides: SideFit[];
  pose: PoseFit;
  looks: CornerLooks;
  features: CardFeatures;
  confidence: number;
}

export interface CardFeatures {
  /** Least and mean share of a side on which an edge lies. */
  minSupport: number;
  meanSupport: number;
  /** Root mean square misfit of the sides to a card's shape, relative to its short side. */
  misfit: number;
  chiPerDegree: number;
  scatter: number;
  roundBalance: number;
  judgedCorners: number;
  sharpCorners: number;
  gradient: number;
  consistency: number;
  tiltDeg: number;
  longSideShare: number;
}

export interface FindCardOptions {
  /** Height of the plane of the work above the card's face, mm. */
  workHeightMm: Belief;
}

/**
 * Finds ID-1 cards: any colour and print, any direction, one corner hidden.
 *
 * Straight edges propose quadrilaterals of the right shape; each is fitted to a fraction of a pixel along its
 * four sides and explained as a card before a camera. What is kept has edges all along, the card's
 * proportions under that camera, and round corners.
 *
 * @returns findings, most trustworthy first; those below 0.5 are not to be relied on
 */
export function findCards(photo: DecodedPhoto, options: FindCardOptions): CardFinding[] {
  const { rgb } = photo;
  const focals = focalHypotheses(photo);
  const proposals = findQuads(rgb, {
    aspects: [CARD_MM.widthMm / CARD_MM.heightMm],
    tolerance: 0.16,
    minLongSideShare: 0.05,
    focalsPx: focals.map((f) => Math.exp(f.mean)),
    maxTiltDeg: 48,
  });
  const refined: { quad: Quad; sides: SideFit[]; score: number }[] = [];
  for (const proposal of proposals) {
    if (refined.some((r) => sameQuad(r.quad, proposal.quad))) continue;
    const result = refine(photo, proposal.quad, 3.2 / proposal.searchScale);
    if (!result) continue;
    if (refined.some((r) => sameQuad(r.quad, result.quad))) continue;
    refined.push(result);
    if (refined.length >= 24) break;
  }
  const findings = refined
    .sort((p, q) => q.score - p.score)
    .slice(0, 12)
    .map((r) => explain(photo, r.quad, r.sides, options))
    .filter((f): f is CardFinding => f !== null)
    .sort((p, q) => q.confidence - p.confidence);
  return findings.filter(
    (f, i) =>
      !findings
        .slice(0, i)
        .some((g) => distance(centroid(f.quad), centroid(g.quad)) < 0.3 * distance(g.quad[0], g.quad[1])),
  );
}

function sameQuad(a: Quad, b: Quad): boolean {
  const tolerance = 0.035 * distance(a[0], a[1]);
  return [0, 2].some((turn) => a.every((p, i) => distance(p, b[(i + turn) % 4]!) < tolerance));
}

/** Fits the sides twice: wide, then narrow about the first answer. */
function refine(
  photo: DecodedPhoto,
  start: Quad,
  searchPx: number,
): { quad: Quad; sides: SideFit[]; score: number } | null {
  const shortSide = Math.min(distance(start[1], start[2]), distance(start[3], start[0]));
  const insetShare = 0.09;
  const wide = fitSides(photo.rgb, start, { searchPx: Math.min(searchPx, 0.1 * shortSide + 2), insetShare });
  if (!wide) return null;
  const first = cornersOf(wide);
  if (!first) return null;
  const narrow = fitSides(photo.rgb, first, { searchPx: 2.5, insetShare });
  if (!narrow) return null;
  const quad = cornersOf(narrow);
  if (!quad) return null;
  const supports = narrow.map((s) => s.support);
  const least = Math.min(...supports);
  if (least < 0.3) return null;
  const mean = supports.reduce((p, q) => p + q) / 4;
  const scatter = narrow.reduce((p, s) => p + s.scatterPx, 0) / 4;
  return { quad, sides: narrow, score: mean + least - 0.3 * scatter };
}

function explain(
  photo: DecodedPhoto,
  quad: Quad,
  sides: SideFit[],
  options: FindCardOptions,
): CardFinding | null {
  const size = photo.rgb;
  let pose: PoseFit | null = null;
  let best = Infinity;
  for (const focal of focalHypotheses(photo)) {
    const fitted = fitPose({
      size,
      widthMm: CARD_MM.widthMm,
      heightMm: CARD_MM.heightMm,
      corners: quad,
      edges: sides.flatMap((s) => s.points),
      logFocal: focal,
      k1: K1_BELIEF,
      workHeightMm: options.workHeightMm,
      sizeSd: CARD_SIZE_SD,
    });
    if (fitted && fitted.chiSquare + focal.penalty < best) {
      best = fitted.chiSquare + focal.penalty;
      pose = fitted;
    }
  }
  if (!pose || pose.tiltDeg > 50) return null;
  const shortSide = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  const looks = cornerLooks(photo.rgb, inverted(pose.facePxToMm), CARD_MM, CARD_MM.cornerRadiusMm);
  const supports = sides.map((s) => s.support);
  const features: CardFeatures = {
    minSupport: Math.min(...supports),
    meanSupport: supports.reduce((p, q) => p + q) / 4,
    misfit: pose.rmsPx / shortSide,
    chiPerDegree: pose.chiSquare / pose.degreesOfFreedom,
    scatter: sides.reduce((p, s) => p + s.scatterPx, 0) / 4,
    roundBalance: looks.balance,
    judgedCorners: looks.judged,
    sharpCorners: looks.sharp,
    gradient: Math.min(...sides.map((s) => s.gradient)),
    consistency: Math.min(...sides.map((s) => s.consistency)),
    tiltDeg: pose.tiltDeg,
    longSideShare: distance(quad[0], quad[1]) / Math.max(size.widthPx, size.heightPx),
  };
  return { quad, sides, pose, looks, features, confidence: confidenceOf(features) };
}

const ramp = (v: number, none: number, full: number): number =>
  Math.max(0, Math.min(1, (v - none) / (full - none)));

/** Every sign has to be there: the product of how far each is. */
function confidenceOf(f: CardFeatures): number {
  return (
    ramp(f.minSupport, 0.3, 0.55) *
    ramp(f.meanSupport, 0.5, 0.75) *
    ramp(f.misfit, 0.02, 0.008) *
    ramp(f.roundBalance, -0.02, 0.15) *
    ramp(f.judgedCorners, 1, 3) *
    ramp(f.consistency, 0.5, 0.7)
  );
}

/** A finding as the scale that goes down the line. */
export function cardScale(photo: DecodedPhoto, finding: CardFinding): Scale {
  const { pose, quad } = finding;
  const centre = centroid(quad);
  const near = pose.relativeUncertaintyAt(centre);
  const reach = distance(quad[0], quad[1]);
  const around = [
    { x: reach, y: 0 },
    { x: -reach, y: 0 },
    { x: 0, y: reach },
    { x: 0, y: -reach },
  ].map((d) => pose.relativeUncertaintyAt({ x: centre.x + d.x, y: centre.y + d.y }));
  const far = Math.sqrt(around.reduce((s, u) => s + u * u, 0) / around.length);
  return {
    kind: 'card',
    variety: 'id-1',
    homographyPxToMm: pose.homographyPxToMm,
    homographyCovariance: pose.homographyCovariance,
    mmPerPx: mmPerPxAt(pose.homographyPxToMm, pose.k1, centre, photo.rgb),
    tiltDeg: pose.tiltDeg,
    relativeUncertainty: near,
    relativeUncertaintyPerReferenceLength: Math.sqrt(Math.max(0, far * far - near * near)),
    outlinePx: [...quad],
    radialDistortion: pose.k1,
    confidence: finding.confidence,
    advice: [],
  };
}
