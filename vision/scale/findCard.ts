import type { DecodedPhoto, Point, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import { cornersOf, fitSide, fitSides, prolongedShare, type SideFit } from './edgeFit.ts';
import {
  applyHomography,
  centroid,
  contains,
  distance,
  intersect,
  lineThrough,
  mix,
  rectangleTo,
  signedArea,
  type Quad,
} from './geometry.ts';
import { distort } from './lens.ts';
import { fitPose, rectangleLines, type Belief, type PoseFit } from './poseFit.ts';
import { findQuads } from './quadFinder.ts';
import { scaleFromPose } from './scaleFromPose.ts';
import { assumedHeight } from './workHeight.ts';
import { cornerLooks, type CornerLooks } from './roundness.ts';

/** ISO/IEC 7810, ID-1. */
export const CARD_MM = { widthMm: 85.6, heightMm: 53.98, cornerRadiusMm: 3.18, thicknessMm: 0.76 } as const;

/** Cards keep the standard's sides to ± 0.13 mm or better; half that, over the mean side. */
const CARD_SIZE_SD = 0.0009;

export interface CardFinding {
  quad: Quad;
  /** null for a side that is hidden. */
  sides: (SideFit | null)[];
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
  /** Weakest side's gradient ÷ strongest side's. */
  gradientBalance: number;
  consistency: number;
  tiltDeg: number;
  longSideShare: number;
  prolonged: number;
  hidden: number;
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
    threeSided: true,
  });
  const refined: Refined[] = [];
  const wanted = { whole: 24, partial: 16 };
  const tried: Quad[] = [];
  for (const proposal of proposals) {
    const kind = proposal.hiddenSide === null ? 'whole' : 'partial';
    if (wanted[kind] === 0 || tried.some((q) => sameQuad(q, proposal.quad))) continue;
    tried.push(proposal.quad);
    const result = refine(photo, proposal.quad, proposal.hiddenSide, 3.2 / proposal.searchScale);
    if (!result || refined.some((r) => r.hiddenSide === result.hiddenSide && sameQuad(r.quad, result.quad)))
      continue;
    refined.push(result);
    wanted[kind]--;
  }
  for (const partial of refined.filter((r) => r.hiddenSide !== null)) {
    for (const closed of closeFourthSide(photo, partial)) {
      if (!refined.some((r) => r.hiddenSide === null && sameQuad(r.quad, closed.quad))) refined.push(closed);
    }
  }
  const explained = refined
    .map((r) => {
      const found = explain(photo, r, options);
      if (!found || found.confidence < 0.3 || r.hiddenSide !== null) return found;
      const stronger = takeStrongerSides(photo, r);
      const better = stronger && explain(photo, stronger, options);
      return better && better.confidence >= 0.95 * found.confidence ? better : found;
    })
    .filter((f): f is CardFinding => f !== null);
  const findings = explained
    .map((f) => doubtWhereTwoFit(f, explained))
    // Among things that look like cards the large one is the card, the small ones are print, checks and stitches.
    .sort((p, q) => rankOf(q) - rankOf(p));
  return findings.filter(
    (f, i) =>
      !findings
        .slice(0, i)
        .some((g) => distance(centroid(f.quad), centroid(g.quad)) < 0.3 * distance(g.quad[0], g.quad[1])),
  );
}

/** Doubtful finds are measured with, but said to be so: see TRUSTED and `judge`. */
const DOUBTFUL = 0.6;

/**
 * A card's print, or what shows of a card tucked under cloth, can look like a smaller card. Where two of
 * different size fit in the same place, neither is sure.
 */
function doubtWhereTwoFit(finding: CardFinding, all: CardFinding[]): CardFinding {
  const size = (f: CardFinding) => Math.sqrt(Math.abs(signedArea(f.quad)));
  const other = all.some(
    (f) =>
      f !== finding &&
      f.confidence >= 0.4 &&
      // Four sides seen outweigh three.
      (f.features.hidden === 0 || finding.features.hidden === 1) &&
      Math.abs(Math.log(size(f) / size(finding))) > 0.06 &&
      (contains(f.quad, centroid(finding.quad)) || contains(finding.quad, centroid(f.quad))),
  );
  return other ? { ...finding, confidence: Math.min(finding.confidence, DOUBTFUL) } : finding;
}

/**
 * Looks for the side that was not proposed, anywhere between the two sides that run toward it: it may only
 * be fainter than the others. Several edges can lie there (print, the cloth's edge); all good ones are tried.
 */
function closeFourthSide(photo: DecodedPhoto, partial: Refined): Refined[] {
  const h = partial.hiddenSide!;
  const at = (i: number) => partial.quad[(i + 4) % 4]!;
  const length = distance(at(h), at(h - 1));
  const step = Math.max(0.01, 2 / length);
  const seen: { share: number; weight: number; line: [Point, Point] }[] = [];
  for (let share = -0.2; share < 0.65; share += step) {
    const from = mix(at(h), at(h - 1), share);
    const to = mix(at(h + 1), at(h + 2), share);
    const fit = fitSide(photo.rgb, from, to, h, { searchPx: (step * length) / 2 + 1, insetShare: 0.1 });
    if (fit && fit.support > 0.55) {
      seen.push({ share, weight: fit.support * Math.min(1, fit.gradient / 8), line: [from, to] });
    }
  }
  seen.sort((p, q) => q.weight - p.weight);
  const kept: typeof seen = [];
  for (const one of seen) {
    if (kept.length < 4 && kept.every((k) => Math.abs(k.share - one.share) > 0.03)) kept.push(one);
  }
  return kept
    .map(({ line }) => {
      const quad = partial.quad.map((p, i) => (i === h ? line[0] : i === (h + 1) % 4 ? line[1] : p)) as Quad;
      return refine(photo, quad, null, step * length + 2);
    })
    .filter((r): r is Refined => r !== null);
}

/**
 * A card's shadow runs along its edge, and so do frames in print: where a clearly stronger edge lies close by,
 * that is the card's.
 */
function takeStrongerSides(photo: DecodedPhoto, found: Refined): Refined | null {
  const { quad } = found;
  const at = (i: number) => quad[(i + 4) % 4]!;
  const lines = quad.map((_, i): [Point, Point] => [at(i), at(i + 1)]);
  let changed = false;
  for (let i = 0; i < 4; i++) {
    const length = distance(at(i), at(i - 1));
    const step = Math.max(0.004, 1.5 / length);
    const strength = (fit: SideFit | null) => (fit ? fit.support * fit.gradient : 0);
    let best = { share: 0, strength: 1.4 * strength(found.sides[i] ?? null) };
    for (let share = -0.06; share <= 0.22; share += step) {
      if (Math.abs(share) < 1.5 * step) continue;
      const fit = fitSide(photo.rgb, mix(at(i), at(i - 1), share), mix(at(i + 1), at(i + 2), share), i, {
        searchPx: (step * length) / 2 + 1,
        insetShare: 0.1,
      });
      if (fit && fit.support > 0.6 && strength(fit) > best.strength)
        best = { share, strength: strength(fit) };
    }
    if (best.share === 0) continue;
    changed = true;
    lines[i] = [mix(at(i), at(i - 1), best.share), mix(at(i + 1), at(i + 2), best.share)];
  }
  if (!changed) return null;
  const corners = lines.map((line, i) => {
    const before = lines[(i + 3) % 4]!;
    return intersect(lineThrough(before[0], before[1]), lineThrough(line[0], line[1]));
  });
  if (corners.some((c) => c === null)) return null;
  return refine(photo, corners as Quad, null, 4);
}

const rankOf = (f: CardFinding): number => f.confidence * Math.sqrt(f.features.longSideShare);

interface Refined {
  quad: Quad;
  sides: (SideFit | null)[];
  hiddenSide: number | null;
}

function sameQuad(a: Quad, b: Quad): boolean {
  const tolerance = 0.035 * distance(a[0], a[1]);
  return [0, 2].some((turn) => a.every((p, i) => distance(p, b[(i + turn) % 4]!) < tolerance));
}

/** Fits the sides twice: wide, then narrow about the first answer. */
function refine(
  photo: DecodedPhoto,
  start: Quad,
  hiddenSide: number | null,
  searchPx: number,
): Refined | null {
  const shortSide = Math.min(distance(start[1], start[2]), distance(start[3], start[0]));
  const insetShare = 0.09;
  const wide = fitSides(photo.rgb, start, hiddenSide, {
    searchPx: Math.min(searchPx, 0.1 * shortSide + 2),
    insetShare,
  });
  if (!wide) return null;
  const first = cornersOf(wide, start);
  if (!first) return null;
  const sides = fitSides(photo.rgb, first, hiddenSide, { searchPx: 2.5, insetShare });
  if (!sides) return null;
  const quad = cornersOf(sides, first);
  if (!quad) return null;
  if (sides.some((s) => s !== null && s.support < (hiddenSide === null ? 0.3 : 0.15))) return null;
  return { quad, sides, hiddenSide };
}

function explain(photo: DecodedPhoto, refined: Refined, options: FindCardOptions): CardFinding | null {
  const { sides } = refined;
  let { quad } = refined;
  const size = photo.rgb;
  const seen = sides.filter((s): s is SideFit => s !== null);
  let pose: PoseFit | null = null;
  let best = Infinity;
  for (const focal of focalHypotheses(photo)) {
    const fitted = fitPose({
      size,
      lines: rectangleLines(CARD_MM.widthMm, CARD_MM.heightMm),
      start: rectangleTo(quad, CARD_MM.widthMm, CARD_MM.heightMm),
      edges: seen.flatMap((s) => s.points),
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
  // A lens far beyond belief means that the sides are not a card's.
  if (!pose || pose.tiltDeg > 50 || Math.abs(pose.k1 - K1_BELIEF.mean) > 3.5 * K1_BELIEF.sd) return null;
  const mmToPx = pose.faceMmToPx;
  if (refined.hiddenSide !== null) {
    const corner = (x: number, y: number): Point => distort(applyHomography(mmToPx, { x, y }), size, pose.k1);
    const { widthMm: w, heightMm: h } = CARD_MM;
    quad = [corner(0, 0), corner(w, 0), corner(w, h), corner(0, h)];
  }
  const shortSide = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  const looks = cornerLooks(photo.rgb, quad, CARD_MM, CARD_MM.cornerRadiusMm, refined.hiddenSide);
  const supports = seen.map((s) => s.support);
  const features: CardFeatures = {
    minSupport: Math.min(...supports),
    meanSupport: supports.reduce((p, q) => p + q) / seen.length,
    misfit: pose.rmsPx / shortSide,
    chiPerDegree: pose.chiSquare / pose.degreesOfFreedom,
    scatter: seen.reduce((p, s) => p + s.scatterPx, 0) / seen.length,
    roundBalance: looks.balance,
    judgedCorners: looks.judged,
    sharpCorners: looks.sharp,
    gradient: Math.min(...seen.map((s) => s.gradient)),
    gradientBalance: Math.min(...seen.map((s) => s.gradient)) / Math.max(...seen.map((s) => s.gradient)),
    consistency: Math.min(...seen.map((s) => s.consistency)),
    tiltDeg: pose.tiltDeg,
    longSideShare: distance(quad[0], quad[1]) / Math.max(size.widthPx, size.heightPx),
    prolonged: prolongedShare(photo.rgb, quad, sides),
    hidden: refined.hiddenSide === null ? 0 : 1,
  };
  return { quad, sides, pose, looks, features, confidence: confidenceOf(features) };
}

const ramp = (v: number, none: number, full: number): number =>
  Math.max(0, Math.min(1, (v - none) / (full - none)));

/** Every sign has to be there: the product of how far each is. */
function confidenceOf(f: CardFeatures): number {
  const hidden = f.hidden === 1;
  // A hidden side leaves two corners to judge. Its place is not seen but follows from the shape, so the sides
  // that run up to it must end there: when they go on, it is a piece of something longer.
  const corners = hidden ? ramp(f.judgedCorners, 0, 2) : ramp(f.judgedCorners, 1, 3);
  const ends = hidden
    ? ramp(f.prolonged, 0.12, 0.02) * ramp(f.roundBalance, 0.15, 0.4) * ramp(f.meanSupport, 0.75, 0.92)
    : 1;
  // Cut off square by something that lies on it, or a picture of a rectangle.
  // One side far fainter than another may be a shadow's, not the card's.
  const most = hidden || f.sharpCorners > 0 || f.gradientBalance < 0.12 ? DOUBTFUL : 1;
  const sure =
    ramp(f.minSupport, 0.35, 0.6) *
    ramp(f.meanSupport, 0.68, 0.88) *
    ramp(f.misfit, 0.01, 0.004) *
    ramp(f.chiPerDegree, 45, 14) *
    ramp(f.roundBalance, -0.02, 0.15) *
    // Checks, tiles and planks go on past their corners; a card ends there.
    ramp(f.prolonged, 0.5, 0.2) *
    // Smaller than any card that can be measured by: a stitch, a letter, a check.
    ramp(f.longSideShare, 0.05, 0.09) *
    // A striped card, or a striped table, turns the colour step about along a side.
    ramp(f.consistency, 0.4, 0.6) *
    corners *
    ends;
  return Math.min(most, sure);
}

/** A finding as the scale that goes down the line. */
export function cardScale(photo: DecodedPhoto, finding: CardFinding): Scale {
  const geometry = scaleFromPose(photo.rgb, finding.pose, finding.quad, assumedHeight(CARD_MM.thicknessMm));
  return {
    kind: 'card',
    variety: 'id-1',
    ...geometry,
    // A card whose plane could not be settled is no scale, however surely it is a card.
    confidence: finding.confidence * ramp(geometry.relativeUncertainty, 0.06, 0.03),
    advice: [],
  };
}
