import type { DecodedPhoto, Matrix3, Point, RgbImage, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import { rimShifts, rimViews } from './cardRim.ts';
import { cornersOf, fitSide, fitSides, prolongedShare, type EdgePoint, type SideFit } from './edgeFit.ts';
import {
  applyHomography,
  centroid,
  contains,
  distance,
  impliedRectangle,
  intersect,
  isConvex,
  lineThrough,
  mix,
  rectangleTo,
  signedArea,
  type Quad,
} from './geometry.ts';
import { distort, type PictureSize } from './lens.ts';
import { fitPose, otherTilt, rectangleLines, type Belief, type PoseFit } from './poseFit.ts';
import { evenRegions } from './evenRegions.ts';
import { findQuadsAt, fitsShape, type ShapeOptions } from './quadFinder.ts';
import { quickFit } from './quickSides.ts';
import { agreeWithSight } from '../sight/agreeWithSight.ts';
import type { SightedCard } from '../sight/sightCards.ts';
import { poseSpread } from './poseSpread.ts';
import { rimEdges } from './rimEdges.ts';
import { roughSides } from './roughSides.ts';
import { visibleEdges } from './visibleEdges.ts';
import { scaleFromPose } from './scaleFromPose.ts';
import { assumedHeight } from './workHeight.ts';
import { colourAt, cornerLooks, type CornerLooks } from './roundness.ts';
import { ramp } from './ramp.ts';
import { DOUBTFUL_AT_MOST } from './trusted.ts';

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
  /** Root mean square misfit of the sides to a card's shape, px. */
  misfitPx: number;
  shortSidePx: number;
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
  /** Share of the inside that is even in colour. */
  flat: number;
  /** Median difference in colour between a little inside and a little outside, grey levels. */
  contrast: number;
  roundCorners: number;
  /** How well the outline agrees with a card that the trained network sees there, 0…1. */
  agreement: number;
}

export interface FindCardOptions {
  /** Height of the plane of the work above the card's face, mm. */
  workHeightMm: Belief;
  /** Where the trained network sees cards. */
  sighted?: readonly SightedCard[];
  /** Tells which places, decoded px, are covered by cloth of what has this outline; a card's edge there cannot be seen. */
  coverOf?: (quad: Quad) => ((p: Point) => boolean) | undefined;
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
  const findings: CardFinding[] = [];
  const tried: Quad[] = [];
  for (const card of options.sighted ?? []) {
    const finding = examineSighted(photo, card, options);
    if (!finding) continue;
    tried.push(finding.quad);
    findings.push(finding);
  }
  let rivals = 6;
  const longestPx = Math.max(photo.rgb.widthPx, photo.rgb.heightPx);
  for (const [i, level] of SEARCH_LEVELS.entries()) {
    if (findings.some((f) => f.confidence >= SURE)) break;
    // A small photo was seen whole at the first.
    if (i > 0 && SEARCH_LEVELS[i - 1]!.sidePx >= longestPx) break;
    for (const guess of rankedGuesses(photo, level)) {
      const sure = findings.find((f) => f.confidence >= SURE);
      // Once the card is there, only another outline of the same thing can still change the answer.
      if (sure && (rivals === 0 || !overlap(sure.quad, guess.quad) || sameQuad(sure.quad, guess.quad, 0.03)))
        continue;
      if (sure) rivals--;
      if (tried.some((q) => sameQuad(q, guess.quad))) continue;
      tried.push(guess.quad);
      const finding = examine(photo, guess, options);
      if (finding && !findings.some((f) => sameQuad(f.quad, finding.quad))) findings.push(finding);
    }
  }
  return settle(
    findings.map((f) =>
      f.confidence >= 0.3 && f.features.gradientBalance < FAR_FAINTER
        ? onStrongerSides(photo, f, options)
        : f,
    ),
  ).map((f) => (f.confidence < 0.3 ? f : { ...f, pose: withOtherTilt(photo, f, options) }));
}

/**
 * Seen from afar, a card tilted toward the camera looks just like one tilted away; only the little that its far
 * side is shorter tells them apart. The fit goes to whichever is nearer its start, so both are tried. As far as
 * the other one is possible too, lengths away from the card are as uncertain as the two differ; and so with the lens:
 * behind a longer one the same outline is that of a card that leans more.
 */
function withOtherTilt(photo: DecodedPhoto, found: CardFinding, options: FindCardOptions): PoseFit {
  const size = photo.rgb;
  const all = rimEdges(size, found.quad, found.sides, rimViews(found.pose, CARD_MM, size));
  const isCovered = options.coverOf?.(found.quad);
  const edges = roughSides(isCovered ? visibleEdges(all, found.quad, isCovered) : all);
  const sharedPx = edges.map(() => FACE_SHARED_PX);
  const { widthMm: w, heightMm: h } = CARD_MM;
  const fitted = (start: Matrix3): FocalPose[] =>
    posesFrom(photo, start, edges, sharedPx, found.quad, options, FACE_CLAIMS);
  const same = fitted(found.pose.faceMmToPx);
  const [likeliest] = costed(same);
  if (!likeliest) return found.pose;
  // Weighed together, so that the costs of both leans are counted in the same misfit.
  const fits = costed([...same, ...fitted(otherTilt(likeliest, size, w, h))]);
  const pose = fits[0]!;
  const focals = focalHypotheses(photo).map((f) => ({ ...f, penalty: FOCAL_TRUST * f.penalty }));
  return {
    ...pose,
    relativeUncertaintyAt: poseSpread(
      fits.filter(
        (f, i) => f.cost < pose.cost + RIVAL_COST && !fits.slice(0, i).some((g) => isSamePose(f, g)),
      ),
      focals,
    ),
  };
}

/** A pose this much costlier than another, as −2 ln(probability), is none that need be reckoned with. */
const RIVAL_COST = 25;

/** Whether two fits, begun apart, came to the same end. */
const isSamePose = (p: PoseFit, q: PoseFit): boolean =>
  Math.abs(p.tiltDeg - q.tiltDeg) < 0.05 &&
  Math.abs(Math.log(p.focalPx / q.focalPx)) < 0.002 &&
  Math.abs(Math.log(p.distanceMm / q.distanceMm)) < 0.002;

/** Below this share of the strongest side's gradient, a side may be a shadow's instead of the card's. */
const FAR_FAINTER = 0.35;

function onStrongerSides(photo: DecodedPhoto, found: CardFinding, options: FindCardOptions): CardFinding {
  const stronger = takeStrongerSides(photo, found, options);
  const better = stronger && explain(photo, stronger, options);
  return better && better.confidence >= 0.95 * found.confidence ? better : found;
}

/**
 * Sizes at which edges are looked for, px of the longer side, and how many of the best guesses are looked at
 * closely: the first sees through wood grain and pile, the second sees small cards.
 */
const SEARCH_LEVELS = [
  { sidePx: 640, tries: 24 },
  { sidePx: 1280, tries: 24 },
] as const;

/** A find this good ends the search. */
const SURE = 0.9;

interface Guess {
  quad: Quad;
  /** How far off the quadrilateral may be, px. */
  slackPx: number;
  score: number;
}

/** Other tables have up to a few hundred even patches of a card's shape; a finely checkered one, thousands. */
const MOST_PATCHES = 1000;

/** The most promising guesses of where a card lies, best first, each moved onto the edges near it. */
function rankedGuesses(photo: DecodedPhoto, { sidePx, tries }: (typeof SEARCH_LEVELS)[number]): Guess[] {
  const shape: ShapeOptions = {
    aspects: [CARD_MM.widthMm / CARD_MM.heightMm],
    tolerance: 0.16,
    minLongSideShare: 0.05,
    focalsPx: focalHypotheses(photo).map((f) => Math.exp(f.mean)),
    maxTiltDeg: 48,
    threeSided: true,
    maxHypotheses: 300,
  };
  const { proposals, small, scale } = findQuadsAt(photo.rgb, sidePx, shape);
  const patches = patchProposals(photo, small, scale, shape).slice(0, MOST_PATCHES);
  const guesses: Guess[] = [];
  for (const { quad, hiddenSide, isPatch } of [
    ...patches,
    ...proposals.map((p) => ({ ...p, isPatch: false })),
  ]) {
    const reduced = quad.map((p) => ({ x: (p.x + 0.5) * scale - 0.5, y: (p.y + 0.5) * scale - 0.5 })) as Quad;
    const reach = reduced.map((p, i) => {
      if (i !== hiddenSide) return isPatch ? 7 : 2;
      // Where the fourth side must be follows from the shape, to within what tilt and focal length may do.
      return 2 + 0.06 * distance(p, reduced[(i + 3) % 4]!);
    }) as [number, number, number, number];
    const fit = quickFit(small, reduced, reach);
    if (!fit) continue;
    const share =
      Math.max(distance(fit.quad[0], fit.quad[1]), distance(fit.quad[1], fit.quad[2])) /
      Math.max(small.widthPx, small.heightPx);
    guesses.push({
      quad: fit.quad.map((p) => ({ x: (p.x + 0.5) / scale - 0.5, y: (p.y + 0.5) / scale - 0.5 })) as Quad,
      slackPx: 1.5 / scale + 1.5,
      // The same signs as in `confidenceOf`, as far as they can be seen from afar.
      score:
        5.6 * Math.min(...fit.supports) +
        5.3 * (fit.supports.reduce((p, q) => p + q) / 4) -
        9 * fit.prolonged +
        5 * fit.flat +
        4 * Math.log(within(share, 0.04, 0.16)) +
        // Rectangles of edges are many on a patterned table, large even patches are few.
        (isPatch ? 2 : 0),
    });
  }
  guesses.sort((p, q) => q.score - p.score);
  // A checkered table has thousands: they are told apart only until there are enough.
  const best: Guess[] = [];
  for (let i = 0; i < guesses.length && best.length < tries; i++) {
    const guess = guesses[i]!;
    let j = 0;
    while (j < i && !sameQuad(guess.quad, guesses[j]!.quad)) j++;
    if (j === i) best.push(guess);
  }
  return best;
}

/**
 * Even patches of a card's shape, and cards of which an even patch is the larger part: a magnetic stripe or a
 * picture ends the patch on one side. Long side first, px of the photo.
 */
function patchProposals(
  photo: DecodedPhoto,
  small: RgbImage,
  scale: number,
  shape: ShapeOptions,
): { quad: Quad; hiddenSide: number | null; isPatch: true }[] {
  const minSidePx = shape.minLongSideShare * Math.max(small.widthPx, small.heightPx) * 0.5;
  const centre = { x: (photo.rgb.widthPx - 1) / 2, y: (photo.rgb.heightPx - 1) / 2 };
  return evenRegions(small, minSidePx)
    .map((quad) => quad.map((p) => ({ x: (p.x + 0.5) / scale - 0.5, y: (p.y + 0.5) / scale - 0.5 })) as Quad)
    .flatMap((quad) => [{ quad, hiddenSide: null }, ...prolongedPatches(quad)])
    .filter(({ quad }) => isConvex(quad) && fitsShape(quad, shape, shape.focalsPx, centre))
    .map(({ quad, hiddenSide }) => {
      const isTurned = impliedRectangle(quad, shape.focalsPx[0]!, centre).aspect < 1;
      return {
        quad: isTurned ? [quad[1], quad[2], quad[3], quad[0]] : quad,
        hiddenSide: isTurned && hiddenSide !== null ? (hiddenSide + 3) % 4 : hiddenSide,
        isPatch: true,
      };
    });
}

/** The cards that a patch is at least half of, one side of it (the hidden one) lying further out. */
function prolongedPatches(quad: Quad): { quad: Quad; hiddenSide: number }[] {
  const cards: { quad: Quad; hiddenSide: number }[] = [];
  for (let side = 0; side < 4; side++) {
    const [a, b, c, d] = [0, 1, 2, 3].map((i) => quad[(side + i) % 4]!) as Quad; // a–b lies further out, c–d stays
    const across = (distance(d, a) + distance(c, b)) / 2;
    for (const aspect of [CARD_MM.widthMm / CARD_MM.heightMm, CARD_MM.heightMm / CARD_MM.widthMm]) {
      const longer = (aspect * distance(c, d)) / across;
      if (longer < 1.1 || longer > 2) continue;
      const moved = [mix(d, a, longer), mix(c, b, longer), c, d];
      cards.push({ quad: [0, 1, 2, 3].map((i) => moved[(i + 4 - side) % 4]!) as Quad, hiddenSide: side });
    }
  }
  return cards;
}

function overlap(a: Quad, b: Quad): boolean {
  return contains(a, centroid(b)) || contains(b, centroid(a));
}

/** How far from where the network sees a side its edge is looked for, as a share of the card's long side. */
const SIGHTED_SLACKS = [0.012, 0.02, 0.005] as const;

/** A card that the network sees, fitted to the edges there; a table's stripes are kept out by looking less far. */
function examineSighted(
  photo: DecodedPhoto,
  { quad }: SightedCard,
  options: FindCardOptions,
): CardFinding | null {
  const focals = focalHypotheses(photo).map((f) => Math.exp(f.mean));
  const centre = { x: (photo.rgb.widthPx - 1) / 2, y: (photo.rgb.heightPx - 1) / 2 };
  const isTurned = impliedRectangle(quad, focals[0]!, centre).aspect < 1;
  const long: Quad = isTurned ? [quad[1], quad[2], quad[3], quad[0]] : quad;
  let best: CardFinding | null = null;
  for (const share of SIGHTED_SLACKS) {
    const slackPx = 1.5 + share * distance(long[0], long[1]);
    const finding = examine(photo, { quad: long, slackPx, score: 0 }, options);
    if (finding && finding.confidence > (best?.confidence ?? -1)) best = finding;
    if (best && best.confidence >= SURE) break;
  }
  return best ?? bestOfThreeSides(photo, long, options);
}

/** A card of its table's colour on one side: the other three tell where that side must be, the network whether it is. */
function bestOfThreeSides(photo: DecodedPhoto, quad: Quad, options: FindCardOptions): CardFinding | null {
  const slackPx = 1.5 + SIGHTED_SLACKS[0] * distance(quad[0], quad[1]);
  return [0, 1, 2, 3].reduce<CardFinding | null>((best, hiddenSide) => {
    const refined = refine(photo, quad, hiddenSide, slackPx, options);
    const finding = refined && explain(photo, refined, options);
    if (!finding || finding.features.agreement < SIGHTED) return best;
    return finding.confidence > (best?.confidence ?? -1) ? finding : best;
  }, null);
}

function examine(photo: DecodedPhoto, guess: Guess, options: FindCardOptions): CardFinding | null {
  const refined = refine(photo, guess.quad, null, guess.slackPx, options);
  return refined && explain(photo, refined, options);
}

function settle(all: CardFinding[]): CardFinding[] {
  const findings = all.map((f) => doubtWhereTwoFit(f, all)).sort((p, q) => oddsOf(q) - oddsOf(p));
  return findings.filter(
    (f, i) =>
      !findings
        .slice(0, i)
        .some((g) => distance(centroid(f.quad), centroid(g.quad)) < 0.3 * distance(g.quad[0], g.quad[1])),
  );
}

/** Cards are found up to 35°, and a tilt is known to a degree or two. */
const STEEP_DEG = 38;

/**
 * A card's print, or what shows of a card tucked under cloth, can look like a smaller card. Where two of
 * different size fit in the same place, neither is sure.
 */
function doubtWhereTwoFit(finding: CardFinding, all: CardFinding[]): CardFinding {
  const size = (f: CardFinding) => Math.sqrt(Math.abs(signedArea(f.quad)));
  const other = all.some(
    (f) =>
      f !== finding &&
      f.confidence >= 0.5 &&
      // One that is far less likely is no rival.
      oddsOf(f) > oddsOf(finding) / 12 &&
      // Four sides seen outweigh three.
      (f.features.hidden === 0 || finding.features.hidden === 1) &&
      Math.abs(Math.log(size(f) / size(finding))) > 0.06 &&
      (contains(f.quad, centroid(finding.quad)) || contains(finding.quad, centroid(f.quad))),
  );
  return other ? { ...finding, confidence: Math.min(finding.confidence, DOUBTFUL_AT_MOST) } : finding;
}

/**
 * A card's shadow runs along its edge, and so do frames in print: where a clearly stronger edge lies close by,
 * that is the card's.
 */
function takeStrongerSides(
  photo: DecodedPhoto,
  found: Pick<Refined, 'quad' | 'sides'>,
  options: FindCardOptions,
): Refined | null {
  const { quad } = found;
  const isHidden = options.coverOf?.(quad);
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
        isHidden,
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
  return refine(photo, corners as Quad, null, 4, options);
}

const oddsOf = (f: CardFinding): number => f.confidence / (1.000001 - f.confidence);

interface Refined {
  quad: Quad;
  sides: (SideFit | null)[];
  hiddenSide: number | null;
}

function sameQuad(a: Quad, b: Quad, share = 0.012): boolean {
  const tolerance = share * distance(a[0], a[1]);
  return [0, 2].some((turn) => a.every((p, i) => distance(p, b[(i + turn) % 4]!) < tolerance));
}

/** Fits the sides twice: wide, then narrow about the first answer. */
function refine(
  photo: DecodedPhoto,
  start: Quad,
  hiddenSide: number | null,
  searchPx: number,
  { coverOf }: FindCardOptions,
): Refined | null {
  const isHidden = coverOf?.(start);
  const shortSide = Math.min(distance(start[1], start[2]), distance(start[3], start[0]));
  const insetShare = 0.09;
  const wide = fitSides(photo.rgb, start, hiddenSide, {
    searchPx: Math.min(searchPx, 0.1 * shortSide + 2),
    insetShare,
    maxPlaces: 56,
    isHidden,
  });
  if (!wide || wide.some((s) => s !== null && s.support < 0.2)) return null;
  const first = cornersOf(wide, start);
  if (!first) return null;
  const sides = fitSides(photo.rgb, first, hiddenSide, { searchPx: 2.5, insetShare, isHidden });
  if (!sides) return null;
  const quad = cornersOf(sides, first);
  if (!quad) return null;
  if (sides.some((s) => s !== null && s.support < (hiddenSide === null ? 0.3 : 0.15))) return null;
  return { quad, sides, hiddenSide };
}

/** What shadows, sharpening and compression move a whole side by, px. */
const SIDE_SHARED_PX = 0.3;
/** How far the claims of a side's parts are believed. */
interface Claims {
  /** What a part of a side is off by at least, by itself, px. */
  placeSdPx: number;
  /** Neighbouring parts of a side err alike (print, texture, compression), so that together they say less. */
  alike: number;
}
/** Set so that intervals at the work held on development scenes. */
const EDGE_CLAIMS: Claims = { placeSdPx: 0.12, alike: 3.6 };
/** A card's own perspective is a weak witness against the focal length that the file states. */
const FOCAL_TRUST = 2;
/** The same once the face is told from the cut side (`rimEdges`), whose own uncertainties leave less unsaid. */
const FACE_SHARED_PX = 0.25;
const FACE_CLAIMS: Claims = { placeSdPx: 0.25, alike: 1.2 };
/**
 * How level people hold a camera above a swatch: standard deviation of the sine of the tilt in either direction. It
 * matters only where a side is hardly seen.
 */
const TILT_SD = 0.3;
/** What they move all four sides outward or inward by together, px. */
const ALL_SHARED_PX = 0.2;

/** A pose and how unlikely its focal length was before looking, as −2 ln(probability). */
interface FocalPose {
  pose: PoseFit;
  penalty: number;
}

/** The most likely pose over what may be believed of the focal length. */
function bestPose(...args: Parameters<typeof posesFrom>): PoseFit | null {
  return costed(posesFrom(...args))[0] ?? null;
}

/** A pose for each thing that may be believed of the focal length. */
function posesFrom(
  photo: DecodedPhoto,
  start: Matrix3,
  edges: EdgePoint[],
  sideSharedPx: number[],
  quad: Quad,
  options: FindCardOptions,
  claims = EDGE_CLAIMS,
): FocalPose[] {
  const shortSide = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  return focalHypotheses(photo)
    .map((focal) => ({
      penalty: focal.penalty,
      pose: fitPose({
        size: photo.rgb,
        lines: rectangleLines(CARD_MM.widthMm, CARD_MM.heightMm),
        start,
        edges: edges.map((e) => ({ ...e, sigmaPx: claims.alike * Math.max(e.sigmaPx, claims.placeSdPx) })),
        logFocal: focal,
        k1: K1_BELIEF,
        workHeightMm: options.workHeightMm,
        sizeSd: Math.hypot(CARD_SIZE_SD, (1.6 * ALL_SHARED_PX) / shortSide),
        sideSharedPx,
        tiltSd: TILT_SD,
      }),
    }))
    .filter((f): f is FocalPose => f.pose !== null);
}

/** Poses of the same points with their −2 ln(probability), the likeliest first. */
function costed(fits: readonly FocalPose[]): (PoseFit & { cost: number })[] {
  // Where no pose explains the sides to within their claims, differences between poses mean less as well.
  const misfit = Math.max(1, Math.min(...fits.map((f) => f.pose.chiSquare / f.pose.degreesOfFreedom)));
  return fits
    .map((f) => ({ ...f.pose, cost: f.pose.chiSquare / misfit + FOCAL_TRUST * f.penalty }))
    .sort((p, q) => p.cost - q.cost);
}

/** Edge points with what the card's cut side adds taken out, and what the points of each side share, px. */
function faceEdges(
  pose: PoseFit,
  sides: readonly (SideFit | null)[],
  size: PictureSize,
): { edges: EdgePoint[]; sharedPx: number[] } {
  const shifts = rimShifts(pose, sides, CARD_MM, size);
  return {
    edges: sides
      .flatMap((s) => s?.points ?? [])
      .map((p) => ({
        ...p,
        point: { x: p.point.x - shifts[p.side]!.x, y: p.point.y - shifts[p.side]!.y },
      })),
    sharedPx: shifts.map((s) => Math.hypot(SIDE_SHARED_PX, s.sdPx)),
  };
}

function explain(photo: DecodedPhoto, refined: Refined, options: FindCardOptions): CardFinding | null {
  const { sides } = refined;
  let { quad } = refined;
  const size = photo.rgb;
  const seen = sides.filter((s): s is SideFit => s !== null);
  const supports = seen.map((s) => s.support);
  const meanSupport = supports.reduce((p, q) => p + q) / seen.length;
  // Most guesses end here, before the dear part.
  if (meanSupport < 0.6) return null;
  const { widthMm: w, heightMm: h } = CARD_MM;
  const start = rectangleTo(quad, w, h);
  const points = seen.flatMap((s) => s.points);
  const shared = sides.map(() => SIDE_SHARED_PX);
  const first = bestPose(photo, start, points, shared, quad, options);
  const shortPx = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  if (!first || first.rmsPx > 0.02 * shortPx) return null;
  const { edges, sharedPx } = faceEdges(first, sides, size);
  const pose = bestPose(photo, first.faceMmToPx, edges, sharedPx, quad, options);
  // A lens far beyond belief means that the sides are not a card's.
  if (!pose || pose.tiltDeg > 50 || Math.abs(pose.k1 - K1_BELIEF.mean) > 3.5 * K1_BELIEF.sd) return null;
  const mmToPx = pose.faceMmToPx;
  if (refined.hiddenSide !== null) {
    const corner = (x: number, y: number): Point => distort(applyHomography(mmToPx, { x, y }), size, pose.k1);
    quad = [corner(0, 0), corner(w, 0), corner(w, h), corner(0, h)];
  }
  const shortSide = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  const looks = cornerLooks(photo.rgb, quad, CARD_MM, CARD_MM.cornerRadiusMm, refined.hiddenSide);
  const features: CardFeatures = {
    minSupport: Math.min(...supports),
    meanSupport,
    misfitPx: pose.rmsPx,
    shortSidePx: shortSide,
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
    ...surface(photo.rgb, quad),
    roundCorners: looks.round,
    agreement: agreeWithSight(quad, options.sighted ?? []),
  };
  return { quad, sides, pose, looks, features, confidence: confidenceOf(features) };
}

/** What the inside looks like, and how it differs from what lies around it. */
function surface(rgb: RgbImage, quad: Quad): { flat: number; contrast: number } {
  const { widthMm: w, heightMm: h } = CARD_MM;
  const toPx = rectangleTo(quad, w, h);
  const at = (x: number, y: number) => colourAt(rgb, applyHomography(toPx, { x, y }));
  const apart = (a: readonly number[], b: readonly number[]): number =>
    Math.hypot(a[0]! - b[0]!, a[1]! - b[1]!, a[2]! - b[2]!);
  let flat = 0;
  let seen = 0;
  const d = 0.4;
  for (let x = 5; x < w - 4; x += 4) {
    for (let y = 4; y < h - 3; y += 4) {
      const corners = [at(x - d, y), at(x + d, y), at(x, y - d), at(x, y + d)];
      if (corners.some((c) => c === null)) continue;
      seen++;
      if (Math.max(apart(corners[0]!, corners[1]!), apart(corners[2]!, corners[3]!)) < 12) flat++;
    }
  }
  const steps: number[] = [];
  const compare = (x: number, y: number, nx: number, ny: number): void => {
    const inside = at(x + 1.2 * nx, y + 1.2 * ny);
    const outside = at(x - 1.2 * nx, y - 1.2 * ny);
    if (inside && outside) steps.push(apart(inside, outside));
  };
  for (let x = 6; x < w - 5; x += 3) {
    compare(x, 0, 0, 1);
    compare(x, h, 0, -1);
  }
  for (let y = 6; y < h - 5; y += 3) {
    compare(0, y, 1, 0);
    compare(w, y, -1, 0);
  }
  steps.sort((p, q) => p - q);
  return {
    flat: seen > 0 ? flat / seen : 0,
    contrast: steps.length > 0 ? steps[steps.length >> 1]! : 0,
  };
}

const within = (v: number, low: number, high: number): number => Math.max(low, Math.min(high, v));

/**
 * Probability that it is a card, from all signs together: a logistic model, fitted to what was proposed in
 * development scenes with and without cards, in which the right answer is known.
 */
function confidenceOf(f: CardFeatures): number {
  const logOdds =
    -8.51 +
    0.696 * within(f.minSupport, 0.3, 1) +
    0.475 * within(f.meanSupport, 0.6, 1) -
    1.838 * Math.log(within(f.misfitPx / Math.hypot(0.4, 0.0015 * f.shortSidePx), 0.5, 8)) +
    1.059 * within(f.roundBalance, -0.3, 0.7) +
    1.218 * f.roundCorners -
    // One side far fainter than another may be a shadow's, not the card's.
    0.098 * Math.log(within(f.gradientBalance, 0.05, 1)) -
    // Checks, tiles and planks go on past their corners; a card ends there.
    1.061 * within(f.prolonged, 0, 0.5) +
    2.256 * f.flat +
    // Small things that look like cards are tags, print, checks and stitches. Set by hand: few scenes have small cards.
    4 * Math.log(within(f.longSideShare, 0.04, 0.13) / 0.13) +
    5.716 * f.agreement;
  const isSighted = f.agreement > SIGHTED;
  // A side this faint may as well be a shadow's; seen this steeply, many things have a card's shape.
  const doubtful =
    f.hidden === 1 ||
    f.tiltDeg > STEEP_DEG ||
    f.minSupport < 0.3 ||
    (f.gradient < 5 && !isSighted) ||
    f.longSideShare < SMALL_SHARE;
  // Whatever else it may look like: no card has sharp corners. A table's stripes can look like some.
  const [sharp, soft] = isSighted ? [-0.4, -0.2] : [-0.15, -0.02];
  return Math.min(
    doubtful ? DOUBTFUL_AT_MOST : 1,
    ramp(f.roundBalance, sharp, soft) / (1 + Math.exp(-logOdds)),
  );
}

/** A yarn's paper tag of a card's shape is this small where nothing else is in the picture to tell its size by. */
const SMALL_SHARE = 0.08;

/** An outline that agrees this well with what the network sees is hardly anything but that. */
const SIGHTED = 0.8;

/** A finding as the scale that goes down the line. */
export function cardScale(photo: DecodedPhoto, finding: CardFinding): Scale {
  const assumed = assumedHeight(CARD_MM.thicknessMm);
  const geometry = scaleFromPose(photo.rgb, finding.pose, finding.quad, assumed);
  return {
    kind: 'card',
    variety: 'id-1',
    ...geometry,
    // A card whose plane could not be settled is no scale, however surely it is a card.
    confidence: finding.confidence * ramp(geometry.relativeUncertainty, 0.06, 0.03),
    advice: [],
  };
}
