import type { Advice, DecodedPhoto, Matrix3, Point, Scale } from '../../types.ts';
import { centroid, localScale } from '../geometry.ts';
import type { SightedRulers } from '../../sight/sightRulers.ts';
import { ramp } from '../ramp.ts';
import { referenceSizePx } from '../referenceSizePx.ts';
import { DOUBTFUL_AT_MOST, TRUSTED } from '../trusted.ts';
import type { BaseSighting, RulerPlane, TickSighting } from './fitRulerPlane.ts';
import { toDecodedPx } from './halve.ts';
import { GRADUATIONS, POSSIBLE_GRADUATIONS } from './nameGraduation.ts';
import {
  confidenceOf,
  MAX_BETWEEN,
  MAX_BETWEEN_UNCLEAR,
  pitchMmOf,
  rank,
  readGraduations,
  type Reading,
} from './readGraduations.ts';
import { sightTicks, type Sightings } from './sightTicks.ts';
import { holdPlanes, meanOfPlanes, variationsOf } from './heldPlanes.ts';
import { weighPlanes, type WeighedPlane } from './weighPlanes.ts';

export interface FindRulerScalesOptions {
  kinds: ('ruler' | 'tape')[];
  /** Where the trained network sees rulers and tapes. */
  sighted?: SightedRulers | null;
}

/**
 * Finds rulers and tapes by their ticks, says from the pattern of the ticks' lengths whether they are
 * millimetres or fractions of an inch, and recovers the plane they lie in from the ticks' spacing and
 * direction.
 *
 * Best first; empty when there is none. A run of ticks whose graduation is not certain comes with a
 * confidence below 0.2 and advice, and must not be measured with.
 *
 * @example
 * const [scale] = findRulerScales(photo, { kinds: ['ruler', 'tape'] });
 * if (scale && scale.confidence > 0.5) console.log(scale.variety, scale.mmPerPx); // 'metric' 0.12
 */
export function findRulerScales(photo: DecodedPhoto, options: FindRulerScalesOptions): Scale[] {
  const readings = readGraduations(photo.gray, { rgb: photo.rgb, sighted: options.sighted });
  return rulerScales(photo, readings, options);
}

/** Readings → scales; apart so that development can look at the readings. */
export function rulerScales(
  photo: DecodedPhoto,
  readings: Reading[],
  options: FindRulerScalesOptions,
): Scale[] {
  const trusted = readings
    .filter(
      (r) =>
        ((r.named ?? r.hidden) !== null || r.numbered || r.tenths) &&
        r.between < MAX_BETWEEN &&
        confidenceOf(r) > 0.15,
    )
    .sort((a, b) => rank(b) * b.run.ticks.length ** 0.25 - rank(a) * a.run.ticks.length ** 0.25);
  const scales: Scale[] = [];
  const used = new Set<Reading>();
  for (const first of trusted) {
    if (used.has(first)) continue;
    used.add(first);
    // numbers stand where they have room: how two rows of them converge is no sign of a tilt
    const second = trusted.find(
      (r) => !used.has(r) && !(r.alongNumbers || first.alongNumbers) && areEdgesOfOne(first, r),
    );
    if (second) used.add(second);
    const scale = scaleOf(photo, first, second ?? null, options.kinds);
    if (scale) scales.push(scale);
  }
  if (scales.every((s) => s.confidence < UNSURE)) {
    const unclear = readings
      .filter((r) => r.unclear && r.between < MAX_BETWEEN_UNCLEAR)
      .sort((a, b) => b.run.ticks.length - a.run.ticks.length)[0];
    // every possibility is shown and none is measured with
    for (const possible of unclear?.unclear ? POSSIBLE_GRADUATIONS[unclear.unclear.pattern] : []) {
      const scale = scaleOf(photo, { ...unclear!, pitchMm: possible.pitchMm }, null, options.kinds);
      if (scale) scales.push({ ...scale, variety: possible.unit, confidence: UNSURE });
    }
  }
  return mostExactFirst(scales.sort((a, b) => b.confidence - a.confidence));
}

/** Two readings this near to each other, as to scale, at one place, are of one thing (or of two that agree). */
const AGREE = 0.06;

/** Of several trusted readings that agree with the surest, the most exact comes first: often they are of one ruler. */
function mostExactFirst(scales: Scale[]): Scale[] {
  const surest = scales[0];
  if (!surest) return scales;
  const middle = centroid(surest.outlinePx);
  // in the middle of it, and half its length away
  const uncertainty = (s: Scale): number =>
    Math.hypot(s.relativeUncertainty, s.relativeUncertaintyPerReferenceLength / 2);
  const agrees = (s: Scale): boolean =>
    Math.abs(Math.log(localScale(s.homographyPxToMm, middle) / surest.mmPerPx)) < AGREE;
  const best = scales
    .filter((s) => s.confidence >= TRUSTED && agrees(s))
    .reduce((a, s) => (uncertainty(s) < CLEARLY_LESS * uncertainty(a) ? s : a), surest);
  if (best === surest) return scales;
  return [{ ...best, confidence: surest.confidence }, ...scales.filter((s) => s !== best)];
}

/** Share of the uncertainty below which the more exact is preferred to the surest. */
const CLEARLY_LESS = 0.8;

/** Confidence of what is certainly a scale, of a unit that its ticks do not tell. */
const UNSURE = 0.1;

const ends = (r: Reading): [Point, Point] => {
  const t = r.run.ticks;
  const p = (along: number): Point => {
    const q = r.band.toPoint(along, 0);
    return { x: toDecodedPx(r.level, q.x), y: toDecodedPx(r.level, q.y) };
  };
  return [p(t[0]!.along), p(t[t.length - 1]!.along)];
};

/** Whether two runs run side by side with their ticks pointing at each other, like both edges of one ruler. */
function areEdgesOfOne(a: Reading, b: Reading): boolean {
  const [a0, a1] = ends(a);
  let [b0, b1] = ends(b);
  const length = Math.hypot(a1.x - a0.x, a1.y - a0.y);
  const ux = (a1.x - a0.x) / length;
  const uy = (a1.y - a0.y) / length;
  if ((b1.x - b0.x) * ux + (b1.y - b0.y) * uy < 0) [b0, b1] = [b1, b0];
  const angle = Math.atan2((b1.y - b0.y) * ux - (b1.x - b0.x) * uy, (b1.x - b0.x) * ux + (b1.y - b0.y) * uy);
  if (Math.abs(angle) > 0.12) return false;
  const along = (p: Point): number => (p.x - a0.x) * ux + (p.y - a0.y) * uy;
  const overlap = Math.min(length, along(b1)) - Math.max(0, along(b0));
  if (overlap < 0.5 * Math.min(length, along(b1) - along(b0))) return false;
  const mid = { x: (b0.x + b1.x) / 2, y: (b0.y + b1.y) / 2 };
  const across = Math.abs(-(mid.x - a0.x) * uy + (mid.y - a0.y) * ux);
  // in millimetres by a's own scale: rulers and tapes are 10 to 60 mm wide
  const mm = (across * pitchMmOf(a)) / a.pitchPx;
  return mm > 5 && mm < 70;
}

const chordAngle = (s: Sightings): number =>
  Math.atan2(s.last.point.y - s.first.point.y, s.last.point.x - s.first.point.x);

function scaleOf(
  photo: DecodedPhoto,
  first: Reading,
  second: Reading | null,
  kinds: FindRulerScalesOptions['kinds'],
): Scale | null {
  const { widthPx, heightPx } = photo.gray;
  const a = sightTicks(first, 0, false);
  const spanMm = Math.abs(a.last.alongMm - a.first.alongMm);
  const spanPx = Math.hypot(a.last.point.x - a.first.point.x, a.last.point.y - a.first.point.y);
  if (!(spanPx > 20) || a.bases.length < 2 || a.ticks.length < leastSightings(first)) return null;

  let b: Sightings | null = null;
  if (second) {
    const guess = sightTicks(second, 1, false);
    const turn = Math.cos(chordAngle(guess) - chordAngle(a));
    b = turn < 0 ? sightTicks(second, 1, true) : guess;
    if (b.bases.length < 2 || b.ticks.length < leastSightings(second)) b = null;
  }
  // a straight tape cannot be told from a ruler by its ticks: the maker's word counts
  const which = kinds.length === 1 ? kinds[0]! : 'either';
  const origin = a.bases[a.bases.length >> 1]!;
  const explain = (ticks: TickSighting[], bases: BaseSighting[], runs: number): WeighedPlane[] =>
    weighPlanes(
      photo.focalLength35mm,
      ticks,
      bases,
      { origin: origin.point, axisAngle: chordAngle(a), mmPerPx: spanMm / spanPx },
      {
        widthPx,
        heightPx,
        distortionUncertainty: 0.015,
        tiltUncertainty: TILT_SD,
        workAboveMm: WORK_ABOVE_MM[which],
        thicknessUncertaintyMm: THICKNESS_MM[which].sd,
        runs,
      },
      { share: BENT_SHARE[which], baseAcrossMm: -first.side * TAPE_HALF_WIDTH_MM },
    );
  const alone = explain(a.ticks, a.bases, 1);
  if (alone.length === 0) return null;
  let planes = alone;
  let agreement: 'none' | 'agrees' | 'contradicts' = 'none';
  if (b) {
    const both = explain([...a.ticks, ...b.ticks], [...a.bases, ...b.bases], 2);
    if (both.length > 0) {
      // if one of the two had been misnamed their scales would differ by far more than a tilt explains
      if (both[0]!.plane.misfit < 1.8 * Math.max(1, alone[0]!.plane.misfit)) {
        agreement = 'agrees';
        planes = both;
      } else agreement = crossCheck(first, second!) ? 'none' : 'contradicts';
    }
  }
  const kind = kinds.length === 1 ? kinds[0]! : planes[0]!.bent ? 'tape' : 'ruler';
  return toScale(first, second, a, b, planes, agreement, kind, {
    meanMm: WORK_ABOVE_MM[which].mean,
    sdMm: WORK_ABOVE_MM[which].sd,
    faceHeightMm: THICKNESS_MM[which].mean,
  });
}

/** Each place on ticks that only their sum shows stands for many; whole centimetres are few. */
const leastSightings = (r: Reading): number => (r.hidden ? 4 : r.numbered ? 8 : 12);

/** Whether two runs side by side have the same mm per px to within what tilt can do. */
function crossCheck(a: Reading, b: Reading): boolean {
  const ratio = pitchMmOf(a) / a.pitchPx / (pitchMmOf(b) / b.pitchPx);
  return Math.abs(Math.log(ratio)) < 0.12;
}

function toScale(
  first: Reading,
  second: Reading | null,
  a: Sightings,
  b: Sightings | null,
  planes: WeighedPlane[],
  agreement: 'none' | 'agrees' | 'contradicts',
  kind: 'ruler' | 'tape',
  assumed: { meanMm: number; sdMm: number; faceHeightMm: number },
): Scale {
  const advice: Advice[] = [];
  const outlinePx = outlineOf(first, a, second, b);
  const centre = {
    x: outlinePx.reduce((s, p) => s + p.x, 0) / outlinePx.length,
    y: outlinePx.reduce((s, p) => s + p.y, 0) / outlinePx.length,
  };
  const { plane } = planes[0]!;
  const h = plane.homographyPxToMm;
  const bentShare = planes.reduce((sum, p) => sum + (p.bent ? p.share : 0), 0);
  const lengthPx = referenceSizePx({ outlinePx });

  // how uncertain the scale is beside the ruler, by propagating the fit's covariance (JCGM 100:2008, 5.2)
  const ux = Math.cos(chordAngle(a));
  const uy = Math.sin(chordAngle(a));
  const u0 = spreadOfScale(planes, centre);
  const across = [
    [-uy, ux],
    [uy, -ux],
  ] as const;
  // where no direction of ticks is known, a tilt about the ruler itself is not, and work lies beside it
  const ways = first.named && !first.alongNumbers ? ([...across, [ux, uy], [-ux, -uy]] as const) : across;
  let far = 0;
  for (const [x, y] of ways) {
    const p = { x: centre.x + x * lengthPx * 0.7, y: centre.y + y * lengthPx * 0.7 };
    far += spreadOfScale(planes, p) ** 2 / ways.length;
  }
  const slope = Math.sqrt(Math.max(0, far - u0 * u0)) / 0.7;
  const relativeUncertainty = Math.hypot(
    u0,
    PRINTING_UNCERTAINTY,
    Math.sqrt(bentShare) * BENDING_UNCERTAINTY,
  );

  let confidence = confidenceOf(first);
  // the same numbers, seen beside both edges, say no more than once
  const sameNumbers = first.numbered && second?.numbered;
  if (agreement === 'agrees' && second && !sameNumbers)
    confidence = 1 - (1 - confidence) * (1 - confidenceOf(second));
  // two edges named by all of their ticks at once may both be an inch for two
  if (first.together) confidence = Math.min(confidence, DOUBTFUL_AT_MOST);
  // A bend and a tilt change the ticks' spacing alike; on a development scene they were mixed up by a tenth.
  if (planes[0]!.bent && plane.tiltDeg > BENT_TO_DEG) confidence = Math.min(confidence, DOUBTFUL_AT_MOST);
  if (agreement === 'contradicts') {
    confidence = Math.min(confidence, 0.1);
    advice.push({
      code: 'ruler-edges-contradict',
      message:
        'The two edges of the ruler were read with different scales. Photograph it again, closer and sharper, or mark a known length by hand.',
    });
  }
  const settled =
    ramp(relativeUncertainty, MOST_UNCERTAINTY[1], MOST_UNCERTAINTY[0]) *
    ramp(plane.tiltDeg, ...STEEPEST_DEG);
  if (settled < 0.5)
    advice.push({
      code: 'reference-uncertain',
      message:
        'A ruler or tape was read, but how it lies before the camera could not be told. Lay it flat and straight, take the photo from straight above with more of it in view, or mark a known length by hand.',
    });
  else if (confidence < 0.5)
    advice.push({
      code: 'ruler-units-unclear',
      message:
        'There are ticks of a ruler or tape, but whether they are millimetres or fractions of an inch is not certain. Come closer, so that at least 3 cm (or 2 in) of ticks are sharp, or mark a known length by hand.',
    });
  return {
    kind,
    variety: second && agreement === 'agrees' && unitOf(second) !== unitOf(first) ? 'both' : unitOf(first),
    homographyPxToMm: h,
    homographyCovariance: homographyCovariance(planes),
    mmPerPx: localScale(h, centre),
    tiltDeg: plane.tiltDeg,
    relativeUncertainty,
    relativeUncertaintyPerReferenceLength: slope,
    outlinePx,
    radialDistortion: plane.radialDistortion,
    heldAgainst: (looks, beliefs) => {
      const held = holdPlanes(planes, looks, beliefs);
      if (!held) return null;
      const mean = meanOfPlanes(held);
      return {
        ...toScale(first, second, a, b, held, agreement, kind, assumed),
        ...mean,
        mmPerPx: localScale(mean.homographyPxToMm, centre),
        variations: variationsOf(held),
      };
    },
    workHeight: { ...assumed, relativePerMm: relativePerMmOfHeight(plane, centre) },
    confidence: confidence * settled,
    advice,
  };
}

/** Relative uncertainty at the scale itself from which on its plane is doubtful, and from which it is none. */
const MOST_UNCERTAINTY = [0.06, 0.12] as const;
/** Nobody photographs work as steeply as this: a plane so tilted is a bend or a lens taken for a tilt. */
const STEEPEST_DEG = [58, 48] as const;
/** Graduations of household rulers and tapes are good to about a part in a thousand (common practice). */
export const PRINTING_UNCERTAINTY = 0.001;
/** A tape bent in its plane buckles a little, and its ticks lie off the line that keeps its length. */
const BENDING_UNCERTAINTY = 0.006;
/** A bent tape seen more steeply than this is doubtful. */
const BENT_TO_DEG = 25;
/** How level people hold a camera above a swatch, as for cards and paper: standard deviation of the tilt's tangent. */
const TILT_SD = 0.3;
/** How likely a scale lies in a bend, before anything is known of it: half of the tapes do, and no ruler. */
const BENT_SHARE = { ruler: 0, tape: 0.5, either: 0.25 };
/** From the edge where a soft tape's ticks begin to its middle, mm (common practice: 13 to 20 mm wide). */
export const TAPE_HALF_WIDTH_MM = 8.2;

/**
 * Thickness of rulers and tapes, and its standard uncertainty, mm: steel 0.5 to 1.2, plastic and wood 2 to 4, a
 * tape a third of a millimetre (common practice). A straight tape and a ruler look alike.
 */
export const THICKNESS_MM = {
  ruler: { mean: 2.1, sd: 0.95 },
  tape: { mean: 0.4, sd: 0.15 },
  either: { mean: 1.8, sd: 1.1 },
};

/**
 * Height of the cloth's mean surface above a scale's face, mm, before anything is known of the cloth. Rulers and
 * tapes are laid on the cloth as often as once in three or four; which, their ticks do not tell.
 */
export const WORK_ABOVE_MM = {
  ruler: { mean: 0, sd: 2.6 },
  tape: { mean: 1.4, sd: 2.2 },
  either: { mean: 0.2, sd: 2.7 },
};

const unitOf = (r: Reading): string =>
  r.hidden || r.numbered || r.tenths ? 'metric' : r.named ? GRADUATIONS[r.named.key].unit : 'unclear';

function outlineOf(first: Reading, a: Sightings, second: Reading | null, b: Sightings | null): Point[] {
  const edge = (r: Reading, across: number, reverse: boolean): Point[] => {
    const t = r.run.ticks;
    const from = t[0]!.along;
    const to = t[t.length - 1]!.along;
    const out: Point[] = [];
    const n = r.band.bowPx > 2 ? 8 : 1;
    for (let i = 0; i <= n; i++) {
      const f = reverse ? 1 - i / n : i / n;
      const p = r.band.toPoint(from + f * (to - from), across);
      out.push({ x: toDecodedPx(r.level, p.x), y: toDecodedPx(r.level, p.y) });
    }
    return out;
  };
  let outline: Point[];
  if (b && second) {
    const other = edge(second, b.baseAcross, false);
    const own = edge(first, a.baseAcross, false);
    const same =
      (other[other.length - 1]!.x - other[0]!.x) * (own[own.length - 1]!.x - own[0]!.x) +
        (other[other.length - 1]!.y - other[0]!.y) * (own[own.length - 1]!.y - own[0]!.y) >
      0;
    outline = [...own, ...(same ? other.reverse() : other)];
  } else outline = [...edge(first, a.baseAcross, false), ...edge(first, a.topAcross, true)];
  let twice = 0;
  outline.forEach((p, i) => {
    const q = outline[(i + 1) % outline.length]!;
    twice += p.x * q.y - q.x * p.y;
  });
  return twice < 0 ? outline.reverse() : outline;
}

/**
 * Relative standard uncertainty at a pixel of one explanation's scale, the likeliest's if none is given: each one's own,
 * and how far they lie from it, each as likely as it is.
 */
export function spreadOfScale(
  planes: WeighedPlane[],
  p: Point,
  homographyPxToMm = planes[0]!.plane.homographyPxToMm,
): number {
  const scaleOf = (h: Matrix3): number => Math.log(localScale(h, p));
  const own = scaleOf(homographyPxToMm);
  return Math.sqrt(
    planes.reduce(
      (sum, { plane, share }) =>
        sum +
        share * (relativeScaleUncertainty(plane, p) ** 2 + (scaleOf(plane.homographyPxToMm) - own) ** 2),
      0,
    ),
  );
}

/**
 * Relative standard uncertainty of the local scale at a pixel. A camera that may look from either side of "straight
 * above" changes the scale by the square of the tilt, so that terms of second order count (JCGM 100:2008, 5.1.2, note).
 */
function relativeScaleUncertainty(plane: RulerPlane, p: Point): number {
  const of = (h: Matrix3): number => Math.log(localScale(h, p));
  const gradient = derivatives(plane, of);
  const first = Math.max(0, quadratic(gradient, plane.covariance, gradient));
  const at = (...steps: (readonly [parameter: number, step: number])[]): number => {
    const delta = new Array<number>(plane.covariance.length).fill(0);
    for (const [i, step] of steps) delta[i]! += step;
    return of(plane.homographyAt(delta));
  };
  const steps = SLOPES.map((i) => Math.max(1e-4, Math.sqrt(Math.max(0, plane.covariance[i]![i]!))));
  const middle = at();
  const curving = SLOPES.map((i, a) =>
    SLOPES.map((j, b) => {
      const [s, t] = [steps[a]!, steps[b]!];
      if (i === j) return (at([i, s]) - 2 * middle + at([i, -s])) / (s * s);
      return (
        (at([i, s], [j, t]) - at([i, s], [j, -t]) - at([i, -s], [j, t]) + at([i, -s], [j, -t])) / (4 * s * t)
      );
    }),
  );
  // ½ tr (H Σ H Σ)
  const spread = curving.map((row) =>
    SLOPES.map((j) => row.reduce((sum, h, k) => sum + h * plane.covariance[SLOPES[k]!]![j]!, 0)),
  );
  let second = 0;
  for (const a of [0, 1]) for (const b of [0, 1]) second += (spread[a]![b]! * spread[b]![a]!) / 2;
  return Math.sqrt(first + Math.max(0, second));
}

/** Which of a plane's parameters are the slopes of its normal. */
const SLOPES = [3, 4] as const;

/** Relative change of mm per px at a pixel when the work lies 1 mm higher. */
export function relativePerMmOfHeight(plane: RulerPlane, p: Point): number {
  const rise = new Array<number>(plane.covariance.length).fill(0);
  rise[rise.length - 1] = 0.5;
  const fall = rise.map((v) => -v);
  return Math.log(localScale(plane.homographyAt(rise), p) / localScale(plane.homographyAt(fall), p));
}

function derivatives(plane: RulerPlane, of: (h: Matrix3) => number): number[] {
  const n = plane.covariance.length;
  return plane.covariance.map((_, j) => {
    const step = Math.max(1e-9, 0.05 * Math.sqrt(Math.max(0, plane.covariance[j]![j]!)));
    const delta = new Array<number>(n).fill(0);
    delta[j] = step;
    const up = of(plane.homographyAt(delta));
    delta[j] = -step;
    return (up - of(plane.homographyAt(delta))) / (2 * step);
  });
}

function quadratic(a: number[], m: number[][], b: number[]): number {
  let s = 0;
  for (let i = 0; i < a.length; i++) for (let j = 0; j < b.length; j++) s += a[i]! * m[i]![j]! * b[j]!;
  return s;
}

export function homographyCovariance(
  planes: WeighedPlane[],
  own = planes[0]!.plane.homographyPxToMm,
): number[] {
  const out = new Array<number>(81).fill(0);
  for (const { plane, share } of planes) {
    const rows = Array.from({ length: 9 }, (_, e) => derivatives(plane, (h) => h[e]!));
    const apart = plane.homographyPxToMm.map((v, e) => v - own[e]!);
    for (let i = 0; i < 9; i++)
      for (let j = 0; j < 9; j++)
        out[9 * i + j]! += share * (quadratic(rows[i]!, plane.covariance, rows[j]!) + apart[i]! * apart[j]!);
  }
  return out;
}
