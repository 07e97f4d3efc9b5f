import type { DecodedPhoto, PaperSize, Point, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import { cornersOf, fitSides, prolongedShare, type SideFit } from './edgeFit.ts';
import {
  applyHomography,
  centroid,
  contains,
  distance,
  lineThrough,
  mix,
  rectangleTo,
  type Quad,
} from './geometry.ts';
import { distort, pictureCentre, type PictureSize } from './lens.ts';
import { fitPose, rectangleLines, type Belief, type PoseFit } from './poseFit.ts';
import { findPaleRegions } from './paleRegions.ts';
import { findQuads } from './quadFinder.ts';
import { colourAt, cornerLooks } from './roundness.ts';
import { scaleFromPose } from './scaleFromPose.ts';
import { stepsAcross } from './stepsAcross.ts';
import type { Sight } from '../sight/sightCards.ts';
import { paperAcross, paperSides, sightPapers } from '../sight/sightPapers.ts';
import { assumedHeight } from './workHeight.ts';
import { ramp } from './ramp.ts';
import { DOUBTFUL_AT_MOST } from './trusted.ts';

/** Sheets, long side first, mm: ISO 216 and ASME Y14.1. */
export const PAPER_MM = {
  a4: { longMm: 297, shortMm: 210 },
  a5: { longMm: 210, shortMm: 148 },
  letter: { longMm: 279.4, shortMm: 215.9 },
} as const satisfies Record<PaperSize, unknown>;

/** Sheets are cut to ± 1.5–2 mm at most (ISO 216); a third of that, relatively. */
const PAPER_SIZE_SD = 0.0025;

/** Smallest longer side of a sheet, share of the picture's longer side. */
const MIN_LONG_SIDE = 0.18;

export interface FindPaperOptions {
  /** Height of the plane of the work above the sheet, mm. */
  workHeightMm: Belief;
  /** What the maker says it is; without it, sizes of one shape cannot be told apart. */
  paperSize?: PaperSize;
  /** What the trained network sees in the photo. */
  sight?: Pick<Sight, 'maps' | 'scale'> | null;
}

export interface PaperFinding {
  quad: Quad;
  confidence: number;
  /** Every size whose shape fits, best first; A4 and A5 have one shape and always come together. */
  fits: { size: PaperSize; pose: PoseFit; misfit: number }[];
}

/** Finds sheets of paper: large, sharp-cornered, of a paper's proportions, most trustworthy first. */
export function findPapers(photo: DecodedPhoto, options: FindPaperOptions): PaperFinding[] {
  const sizes: PaperSize[] = options.paperSize ? [options.paperSize] : ['a4', 'a5', 'letter'];
  const findings: PaperFinding[] = [];
  const tried: Quad[] = [];
  for (const proposal of propose(photo, sizes, options.sight ?? null)) {
    if (tried.length >= 36) break;
    if (!proposal.again && tried.some((q) => isSame(q, proposal.quad))) continue;
    tried.push(proposal.quad);
    const refined = refine(photo, proposal.quad, proposal.reachPx);
    if (!refined) continue;
    const known = findings.findIndex((f) => isSame(f.quad, refined.quad));
    // A wider look at the same region may hold a side that the close one missed.
    if (known >= 0 && !proposal.again) continue;
    const finding = explain(photo, refined, sizes, options);
    if (!finding) continue;
    if (known < 0) findings.push(finding);
    else if (finding.confidence > findings[known]!.confidence) findings[known] = finding;
    if (findings.some((f) => f.confidence >= 0.95)) break;
  }
  findings.sort((p, q) => q.confidence - p.confidence);
  return findings.filter(
    (f, i) =>
      !findings
        .slice(0, i)
        .some((g) => distance(centroid(f.quad), centroid(g.quad)) < 0.3 * distance(g.quad[0], g.quad[1])),
  );
}

interface Proposal {
  quad: Quad;
  /** How far off its sides may lie, px. */
  reachPx: number;
  /** Whether the same was proposed before, with a shorter reach. */
  again: boolean;
}

/** Outlines to try, likeliest first; each sort is looked for only where those before did not do. */
function* propose(
  photo: DecodedPhoto,
  sizes: readonly PaperSize[],
  sight: FindPaperOptions['sight'] | null,
): Generator<Proposal> {
  // A sheet's corner 0 → 1 is its longer side.
  const sighted = (sight ? sightPapers(sight) : [])
    .filter((quad) => couldBeSheet(photo, quad))
    .map(longSideFirst);
  for (const quad of sighted) {
    const long = distance(quad[0], quad[1]);
    yield { quad, reachPx: 0.008 * long + 3, again: false };
    yield { quad, reachPx: 0.02 * long + 3, again: true };
  }
  const pale = findPaleRegions(photo.rgb).filter(({ quad }) => couldBeSheet(photo, quad));
  for (const { quad, searchScale } of pale.slice(0, 8)) {
    // Close by first: among checks, farther off, other lines would do as well.
    yield { quad: longSideFirst(quad), reachPx: 1.2 / searchScale + 3, again: false };
    yield { quad: longSideFirst(quad), reachPx: 3 / searchScale + 4, again: true };
  }
  const aspects = [...new Set(sizes.map((s) => PAPER_MM[s].longMm / PAPER_MM[s].shortMm))];
  const straight = findQuads(photo.rgb, {
    aspects,
    tolerance: 0.14,
    minLongSideShare: MIN_LONG_SIDE,
    focalsPx: focalHypotheses(photo).map((f) => Math.exp(f.mean)),
    maxTiltDeg: 48,
    threeSided: false,
  });
  for (const { quad, searchScale } of straight) yield { quad, reachPx: 3 / searchScale + 4, again: false };
}

/**
 * A4 and A5 differ by 0.3 % in shape, from rounding to whole millimetres; sheets are cut to ± 1.5 mm or 1 % of
 * A5's shorter side (ISO 216).
 */
function hasShapeOf(a: PaperSize, b: PaperSize): boolean {
  const aspect = (size: PaperSize): number => PAPER_MM[size].longMm / PAPER_MM[size].shortMm;
  return Math.abs(Math.log(aspect(a) / aspect(b))) < 0.012;
}

/** Wholly in view, large enough, and no longer or stubbier than a sheet looks from any likely place. */
function couldBeSheet({ rgb }: DecodedPhoto, quad: Quad): boolean {
  const { widthPx, heightPx } = rgb;
  const [a, b, c, d] = quad;
  const across = distance(a, b) + distance(c, d);
  const down = distance(b, c) + distance(d, a);
  const margin = 0.004 * Math.max(widthPx, heightPx);
  return (
    Math.max(across, down) / 2 > MIN_LONG_SIDE * Math.max(widthPx, heightPx) &&
    Math.max(across, down) < 2 * Math.min(across, down) &&
    quad.every((p) => p.x > margin && p.y > margin && p.x < widthPx - margin && p.y < heightPx - margin)
  );
}

/** Turned by a quarter where that puts the longer pair of sides first. */
function longSideFirst(quad: Quad): Quad {
  const [a, b, c, d] = quad;
  return distance(a, b) + distance(c, d) >= distance(b, c) + distance(d, a) ? quad : [b, c, d, a];
}

function isSame(a: Quad, b: Quad): boolean {
  const tolerance = 0.03 * distance(a[0], a[1]);
  return [0, 2].some((turn) => a.every((p, i) => distance(p, b[(i + turn) % 4]!) < tolerance));
}

/**
 * How far a lens may bend the sides of an outline at their middles, px: radial distortion moves the ends of a side that
 * passes the picture's middle at some distance farther out than its middle, by k1 · distance · (half length)² in
 * half-diagonals (`lens.ts`).
 */
function lensBowPx(size: PictureSize, quad: Quad): number {
  const centre = pictureCentre(size);
  const half = Math.hypot(size.widthPx, size.heightPx) / 2;
  const k1 = Math.abs(K1_BELIEF.mean) + 2.5 * K1_BELIEF.sd;
  return Math.max(
    ...quad.map((from, i) => {
      const to = quad[(i + 1) % 4]!;
      const { nx, ny, c } = lineThrough(from, to);
      const away = Math.abs(nx * centre.x + ny * centre.y - c);
      return k1 * away * (distance(from, to) / 2 / half) ** 2;
    }),
  );
}

/** How far the farthest point of any side lies from the line through its ends, px. */
const bowOf = (sides: readonly SideFit[]): number =>
  Math.max(
    ...sides.flatMap(({ line, points }) =>
      points.map(({ point }) => Math.abs(line.nx * point.x + line.ny * point.y - line.c)),
    ),
  );

function refine(photo: DecodedPhoto, start: Quad, searchPx: number): { quad: Quad; sides: SideFit[] } | null {
  let quad = start;
  let sides: SideFit[] = [];
  const maxBowPx = Math.max(4, lensBowPx(photo.rgb, start));
  for (const isFirst of [true, false]) {
    // As near the second time as a bent side allows.
    const reach = isFirst ? searchPx : Math.max(4, Math.min(maxBowPx, 2 + bowOf(sides)));
    const fitted = fitSides(photo.rgb, quad, null, { searchPx: reach, insetShare: 0.03, maxBowPx });
    const corners = fitted && cornersOf(fitted, quad);
    if (!corners) return null;
    quad = corners;
    sides = fitted as SideFit[];
  }
  return sides.some((s) => s.support < 0.3) ? null : { quad, sides };
}

function explain(
  photo: DecodedPhoto,
  { quad, sides }: { quad: Quad; sides: SideFit[] },
  sizes: readonly PaperSize[],
  options: FindPaperOptions,
): PaperFinding | null {
  const { sight } = options;
  const supports = sides.map((s) => s.support).sort((p, q) => p - q);
  const { differences, onPattern } = setOff(photo, quad);
  const [faintest, second] = differences;
  // What costs a fit of every size with every lens comes last.
  const seemly =
    // Cloth may lie over one side, but not over two.
    ramp(supports[0]!, 0.3, 0.55) *
    ramp(supports[1]!, 0.6, 0.8) *
    ramp(supports.reduce((p, q) => p + q) / 4, 0.55, 0.8) *
    // What stands out all round is no tile; the edges that go on are then those of a check under it.
    ramp(prolongedShare(photo.rgb, quad, sides), faintest! > 15 ? 0.5 : 0.3, faintest! > 15 ? 0.3 : 0.1) *
    // On stripes and checks a side is lighter than what it lies on and darker in turn, as no edge of a plain thing is.
    ramp(Math.min(...sides.filter((_, i) => !onPattern[i]).map((s) => s.consistency)), 0.55, 0.75) *
    // Half of a sheet may lie below the work.
    ramp(papery(photo, quad), 0.3, 0.5) *
    ramp(paperyBorder(photo, quad)[1]!, 0.5, 0.75) *
    ramp(faintest!, 2, 5) *
    ramp(second!, 3, 9);
  const across = sight ? paperAcross(sight, quad) : null;
  const seen = across ? paperSides(across) : null;
  const isSeen = seen ? ramp(seen[1]!, 0.15, 0.5) : 0;
  // What paper is seen within, on three sides at least, and not beyond needs only edges that bear it out.
  const sighted =
    isSeen *
    ramp(seen?.[0] ?? 0, -0.15, 0) *
    ramp(supports[0]!, 0.15, 0.35) *
    ramp(supports[1]!, 0.4, 0.6) *
    ramp(supports.reduce((p, q) => p + q) / 4, 0.45, 0.65);
  if (seemly === 0 && sighted === 0) return null;
  // Cloth may lie over one side; three that are rough are a pale cloth's own.
  const smooth = ramp(borderRoughness(photo, quad)[2]!, 0.035, 0.02);
  if (smooth === 0 && sighted === 0) return null;
  // A line printed on the sheet passes for its side where the table is as pale: the same paper lies beyond it.
  if (stepsAcross(photo.rgb, quad).some((step) => step < NO_STEP)) return null;
  if (across?.some(({ outside }) => outside > GOES_ON)) return null;

  const whole = { quad, fits: fitsOf(photo, quad, sides, sizes, options) };
  // Work that lies over a side puts its own edge there; where paper is surely seen, the other three say where that side is.
  const isAskew = (whole.fits[0]?.misfit ?? Infinity) > MOST_MISFIT;
  const rest = isAskew && sighted > 0.5 ? withoutWeakest(photo, quad, sides, sizes, options) : null;
  const { quad: outline, fits } = rest ?? whole;
  const best = fits[0];
  if (!best) return null;
  const { longMm, shortMm } = PAPER_MM[best.size];
  // Asked as "round or sharp" at a radius that scales with the sheet, so that coasters and trays fall out.
  const looks = cornerLooks(photo.rgb, outline, { widthMm: longMm, heightMm: shortMm }, 0.05 * shortMm);
  const shape = ramp(best.misfit, 0.006, 0.002) * ramp(looks.judged - looks.round, 1, 3);
  const bySight = sight ? UNSEEN + (1 - UNSEEN) * isSeen : 1;
  const confidence = shape * Math.max(sighted, seemly * smooth * bySight);
  // Sizes whose shape fits nearly as well cannot be told apart by shape.
  return {
    quad: outline,
    confidence: rest ? Math.min(DOUBTFUL_AT_MOST, confidence) : confidence,
    fits: fits.filter((f) => f.cost < best.cost + 12 || hasShapeOf(f.size, best.size)),
  };
}

/**
 * Colours that differ by less than this (levels) across a side are the same: of 66 sheets that were found where they lie
 * the faintest side of all had 7; and paper that the network sees this much beyond a side goes on there (0.3 at most).
 */
const NO_STEP = 4;
const GOES_ON = 0.5;

/** A sheet's sides lie no farther off its shape than this, share of the shorter side. */
const MOST_MISFIT = 0.004;

type CostedFit = PaperFinding['fits'][number] & { cost: number };

/** Every size, as the sides explain it best; the likeliest first. */
function fitsOf(
  photo: DecodedPhoto,
  quad: Quad,
  sides: readonly SideFit[],
  sizes: readonly PaperSize[],
  options: FindPaperOptions,
): CostedFit[] {
  const shortPx = Math.min(distance(quad[1], quad[2]), distance(quad[3], quad[0]));
  const fits: CostedFit[] = [];
  for (const size of sizes) {
    const { longMm, shortMm } = PAPER_MM[size];
    for (const logFocal of focalHypotheses(photo)) {
      const pose = fitPose({
        size: photo.rgb,
        lines: rectangleLines(longMm, shortMm),
        start: rectangleTo(quad, longMm, shortMm),
        // Paper's edges are never quite straight: a floor on what one place can tell.
        edges: sides
          .flatMap((s) => s.points)
          .map((p) => ({ ...p, sigmaPx: Math.hypot(p.sigmaPx, 0.0012 * shortPx) })),
        logFocal,
        k1: K1_BELIEF,
        workHeightMm: options.workHeightMm,
        sizeSd: PAPER_SIZE_SD,
        ...(sides.length < 4 ? { tiltSd: TILT_SD } : {}),
      });
      // A lens far beyond belief means that the sides are not a sheet's.
      if (!pose || pose.tiltDeg > 50 || Math.abs(pose.k1 - K1_BELIEF.mean) > 3.5 * K1_BELIEF.sd) continue;
      const cost = pose.chiSquare + logFocal.penalty;
      const known = fits.find((f) => f.size === size);
      if (!known) fits.push({ size, pose, misfit: pose.rmsPx / shortPx, cost });
      else if (cost < known.cost) Object.assign(known, { pose, misfit: pose.rmsPx / shortPx, cost });
    }
  }
  return fits.sort((p, q) => p.cost - q.cost);
}

/** How level people hold a camera: standard deviation of the sine of the tilt in either direction; for what three sides leave open. */
const TILT_SD = 0.3;

/** The same without the side along which least of an edge was seen, and the outline that follows from the others. */
function withoutWeakest(
  photo: DecodedPhoto,
  quad: Quad,
  sides: readonly SideFit[],
  sizes: readonly PaperSize[],
  options: FindPaperOptions,
): { quad: Quad; fits: CostedFit[] } | null {
  const least = Math.min(...sides.map((s) => s.support));
  const fits = fitsOf(
    photo,
    quad,
    sides.filter((s) => s.support > least),
    sizes,
    options,
  );
  const best = fits[0];
  if (!best) return null;
  const { longMm: w, shortMm: h } = PAPER_MM[best.size];
  const corner = (x: number, y: number): Point =>
    distort(applyHomography(best.pose.faceMmToPx, { x, y }), photo.rgb, best.pose.k1);
  return { quad: [corner(0, 0), corner(w, 0), corner(w, h), corner(0, h)], fits };
}

/** What is left of the confidence where the network, looking at the whole photo, sees no paper. */
const UNSEEN = 0.6;

/** Levels by which a checked strip's squares differ, and by which plain paper does not. */
const BUSY = 25;
const EVEN = 12;

/**
 * Side by side, whether plain paper ends there on something patterned; and
 * how far the colour a little inside differs from that a little outside, levels, side by side, the faintest
 * first. A printed line has paper beyond it, and a tile has the same again beyond its joint.
 */
function setOff(photo: DecodedPhoto, quad: Quad): { differences: number[]; onPattern: boolean[] } {
  const middle = centroid(quad);
  const onPattern = quad.map(() => false);
  const differences = quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    const strip = (share: number): ((q: number) => number[]) | null => {
      const colours: (readonly [number, number, number])[] = [];
      for (let t = 0.06; t < 0.95; t += 0.02) {
        const edge = { x: from.x + t * (to.x - from.x), y: from.y + t * (to.y - from.y) };
        const c = colourAt(photo.rgb, mix(middle, edge, share));
        if (c) colours.push(c);
      }
      if (colours.length < 10) return null;
      const sorted = [0, 1, 2].map((k) => colours.map((c) => c[k]!).sort((p, q) => p - q));
      return (q) => sorted.map((values) => values[Math.floor(q * values.length)]!);
    };
    const inside = strip(0.94);
    const outside = strip(1.06);
    if (!inside || !outside) return Infinity;
    const apart = (a: number[], b: number[]): number => Math.hypot(...a.map((v, k) => v - b[k]!));
    const spread = (at: (q: number) => number[]): number => apart(at(0.8), at(0.2));
    // Between printed lines paper is as bright as beyond them; a checked cloth may be, in its light squares.
    onPattern[i] = spread(inside) < EVEN && spread(outside) > BUSY;
    const q = onPattern[i] ? 0.5 : 0.8;
    return apart(inside(q), outside(q));
  });
  return { differences: differences.sort((p, q) => p - q), onPattern };
}

/** How much of a narrow border inside each side is pale and of one brightness, 0…1, the worst side first. */
function paperyBorder(photo: DecodedPhoto, quad: Quad): number[] {
  const middle = centroid(quad);
  const sides = quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    const seen: { high: number; pale: boolean }[] = [];
    for (const share of [0.92, 0.95, 0.98]) {
      for (let t = 0.05; t < 0.96; t += 0.015) {
        const edge = { x: from.x + t * (to.x - from.x), y: from.y + t * (to.y - from.y) };
        const c = colourAt(photo.rgb, mix(middle, edge, share));
        if (!c) continue;
        const high = Math.max(...c);
        seen.push({ high, pale: high - Math.min(...c) < 0.35 * high && high > 70 });
      }
    }
    const sorted = seen.map(({ high }) => high).sort((p, q) => p - q);
    const typical = sorted[Math.floor(0.6 * sorted.length)] ?? 0;
    const paper = seen.filter(({ high, pale }) => pale && Math.abs(high - typical) < 0.2 * typical).length;
    return paper / Math.max(1, seen.length);
  });
  return sides.sort((p, q) => p - q);
}

/**
 * How far brightness typically changes within a few hundredths of a side, along a narrow border inside each side,
 * relatively, the smoothest side first. Paper is smooth but for print, which leaves most of its border alone (0.015
 * at most on development scenes, sensor noise included); stitches are everywhere (0.05 at least).
 */
function borderRoughness(photo: DecodedPhoto, quad: Quad): number[] {
  const STEP = 0.006;
  const middle = centroid(quad);
  const sides = quad.map((from, i) => {
    const to = quad[(i + 1) % 4]!;
    const lines = [0.94, 0.975].map((depth) => {
      const values: number[] = [];
      for (let t = 0.05; t < 0.95; t += STEP) {
        // The mean over a little square, so that noise counts for less.
        let sum = 0;
        let count = 0;
        for (const a of [-1, 0, 1])
          for (const b of [-1, 0, 1]) {
            const along = t + (STEP * a) / 3;
            const edge = { x: from.x + along * (to.x - from.x), y: from.y + along * (to.y - from.y) };
            const c = colourAt(photo.rgb, mix(middle, edge, depth + (2 * STEP * b) / 3));
            if (!c) continue;
            sum += c[0] + c[1] + c[2];
            count++;
          }
        values.push(count > 0 ? sum / (3 * count) : NaN);
      }
      return values;
    });
    const typical = [1, 2, 3, 5].map((apart) => {
      const changes = lines.flatMap((v) =>
        v
          .slice(apart)
          .map((b, k) => (2 * Math.abs(b - v[k]!)) / Math.max(40, b + v[k]!))
          .filter((change) => !Number.isNaN(change)),
      );
      return changes.sort((p, q) => p - q)[changes.length >> 1] ?? 0;
    });
    return Math.max(...typical);
  });
  return sides.sort((p, q) => p - q);
}

/** How much of the inside looks like paper: light, hardly coloured and even. 0…1. */
function papery(photo: DecodedPhoto, quad: Quad): number {
  const { widthPx, heightPx, data } = photo.rgb;
  const lefts = quad.map((p) => p.x);
  const tops = quad.map((p) => p.y);
  const step = Math.max(
    2,
    Math.round(
      Math.sqrt(((Math.max(...lefts) - Math.min(...lefts)) * (Math.max(...tops) - Math.min(...tops))) / 4000),
    ),
  );
  const brightness: number[] = [];
  const pale: boolean[] = [];
  for (
    let y = Math.max(0, Math.ceil(Math.min(...tops)));
    y < Math.min(heightPx, Math.max(...tops));
    y += step
  ) {
    for (
      let x = Math.max(0, Math.ceil(Math.min(...lefts)));
      x < Math.min(widthPx, Math.max(...lefts));
      x += step
    ) {
      if (!contains(quad, { x, y })) continue;
      const i = 3 * (y * widthPx + x);
      const high = Math.max(data[i]!, data[i + 1]!, data[i + 2]!);
      const low = Math.min(data[i]!, data[i + 1]!, data[i + 2]!);
      brightness.push(high);
      pale.push(high - low < 0.35 * high && high > 70);
    }
  }
  if (brightness.length < 50) return 0;
  const sorted = [...brightness].sort((p, q) => p - q);
  const typical = sorted[Math.floor(0.6 * sorted.length)]!;
  const even = brightness.filter((v, i) => pale[i] && Math.abs(v - typical) < 0.28 * typical).length;
  return even / brightness.length;
}

/** A finding, read as one of the sizes that fit it. */
export function paperScale(
  photo: DecodedPhoto,
  finding: PaperFinding,
  fit: PaperFinding['fits'][number],
  confidence: number,
): Scale {
  return {
    kind: 'paper',
    variety: fit.size,
    ...scaleFromPose(photo.rgb, fit.pose, finding.quad, assumedHeight(0.1)),
    confidence,
    advice: [],
  };
}
