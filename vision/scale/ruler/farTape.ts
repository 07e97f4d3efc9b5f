import { mean as meanOf } from 'simple-statistics';
import type { TapeBody } from '../../sight/tapeBodies.ts';
import type { DecodedPhoto, Point, Scale } from '../../types.ts';
import { localScale } from '../geometry.ts';
import { DOUBTFUL_AT_MOST, TRUSTED } from '../trusted.ts';
import { combsAlong, harmonicsOf, type Comb } from './combAlong.ts';
import {
  homographyCovariance,
  PRINTING_UNCERTAINTY,
  relativePerMmOfHeight,
  spreadOfScale,
  TAPE_HALF_WIDTH_MM,
  THICKNESS_MM,
  WORK_ABOVE_MM,
} from './findRulerScales.ts';
import type { BaseSighting, TickSighting } from './fitRulerPlane.ts';
import { holdPlanes, meanOfPlanes, variationsOf } from './heldPlanes.ts';
import { HARDLY_SEEN_PX, straightenTape, type TapeStrip } from './tapeStrip.ts';
import { weighPlanes, type WeighedPlane } from './weighPlanes.ts';

export interface NamedComb {
  comb: Comb;
  unit: 'metric' | 'inch';
  pitchMm: number;
  /** Whether its marks leave no doubt of the unit. */
  isSure: boolean;
}

const INCH_MM = 25.4;
/** Centimetres and inches in widths of a tape (13 to 20 mm wide, common practice; up to 25 looked for). */
const CENTIMETRES = [0.42, 0.9] as const;
const INCHES = [1.02, 2.3] as const;
/** A tape that is narrower or wider than this by its name may have been named, or followed, wrongly, mm. */
const USUAL_WIDTH_MM = [12, 21] as const;
const isUsual = (widthMm: number): boolean => widthMm > USUAL_WIDTH_MM[0] && widthMm < USUAL_WIDTH_MM[1];

/** Stretches of a few marks that have to show them, and from which on their unit may be sure. */
const LEAST_WINDOWS = 6;
const LEAST_WHEN_SURE = 10;
/** How much every other centimetre may differ from its neighbours: odd harmonics of two against the even ones. */
const MOST_ODD = 0.17;
/** Power of an inch's first two harmonics from which on it needs no quarters. */
const PLAIN_INCH = 200;
/** Clearness against the clearest repetition of the same tape: thirds of an inch repeat as well, hardly. */
const LEAST_OF_CLEAREST = { metric: 0.3, inch: 0.1 } as const;

/**
 * Names what repeats along a tape by how far apart it is for the tape's width and by what one period looks like: each
 * centimetre and each inch has its number, so that every other one is like its neighbours; between centimetres stand
 * halves, and nothing at their quarters and eighths, between inches quarters and eighths.
 *
 * @returns null where it is none of both
 */
export function nameComb(comb: Comb, widthPx: number): Omit<NamedComb, 'comb'> | null {
  const ofWidth = comb.pitchPx / widthPx;
  const h = [0, ...harmonicsOf(comb)];
  const t = [0, ...comb.twice];
  const odd = t[1]! + t[3]! + t[5]! + t[7]!;
  const even = t[2]! + t[4]! + t[6]! + t[8]!;
  const first = h[1]! + h[2]!;
  if (comb.windows.length < LEAST_WINDOWS) return null;
  if (ofWidth > CENTIMETRES[0] && ofWidth < CENTIMETRES[1]) {
    // Nothing stands at eighths of a centimetre, unless it is what tenths, its millimetres, leave there.
    const eighths = h[8]! > 4 && h[8]! > h[10]! / 3;
    // Faint ones differ more from one to the next by their noise; halves of an inch by half and more.
    const most = isUsual(10 / ofWidth) ? MOST_ODD : 0.1;
    if (odd > most * even || first < 40 || h[4]! > h[2]! + 5 || eighths) return null;
    return {
      unit: 'metric',
      pitchMm: 10,
      isSure:
        first > 80 && odd < 0.07 * even && comb.windows.length >= LEAST_WHEN_SURE && isUsual(10 / ofWidth),
    };
  }
  if (ofWidth > INCHES[0] && ofWidth < INCHES[1]) {
    if (odd > 0.16 * even || first < 25 || h[3]! > first || h[4]! > 1.5 * first || h[8]! > 2 * first)
      return null;
    const eighths = h[8]! > 2 * Math.max(h[7]!, h[9]!) && h[8]! > 3 && h[8]! > h[10]!;
    const quarters = h[4]! > 0.6 * Math.max(h[3]!, h[5]!) && h[4]! > 10;
    // An inch has one number and one longest mark: two or four centimetres taken for one are strong in what repeats twice
    // or four times in it instead.
    const isOne = h[1]! > 0.6 * h[2]! && h[2]! > 0.15 * h[1]! && h[4]! < 0.9 * h[1]!;
    const isLikely = isOne && odd < 0.1 * even && isUsual(INCH_MM / ofWidth);
    // From so far that its quarters are gone an inch still has its number.
    const isPlain = isLikely && first > PLAIN_INCH && comb.windows.length >= LEAST_WHEN_SURE;
    if (!eighths && !quarters && !isPlain) return null;
    if (h[1]! < 0.3 * h[2]! || (h[4]! > h[1]! && h[2]! < 0.15 * h[1]!)) return null;
    return { unit: 'inch', pitchMm: INCH_MM, isSure: quarters && isLikely };
  }
  return null;
}

/** The combs of a strip with a name, clearest first. */
export function namedCombs(photo: DecodedPhoto, strip: TapeStrip): NamedComb[] {
  const isPossible = (w: number): boolean => [CENTIMETRES, INCHES].some(([low, high]) => w > low && w < high);
  const combs = combsAlong(photo.gray, strip, isPossible);
  const clearest = Math.max(...combs.map((c) => c.clearness));
  return combs.flatMap((comb) => {
    const named = nameComb(comb, strip.widthPx);
    return named && comb.clearness > LEAST_OF_CLEAREST[named.unit] * clearest ? [{ comb, ...named }] : [];
  });
}

/** How level people hold a camera over a whole piece: standard deviation of the tilt's tangent. Common practice. */
const TILT_SD = 0.15;
/** How likely a tape lies in a bend, before anything is known of it. */
const BENT_SHARE = 0.5;
/** A phone's lens, of which nothing is known: standard uncertainty of k1 about 0. */
const DISTORTION_SD = 0.012;

/** A mark is placed no better than this, px. */
const LEAST_SIGMA_PX = 0.08;
/**
 * Ten numbers have their tens in common, which move what seems to be the middle of their marks, and further down the tape
 * than up: so much of a lean, px along for each px across, is shared by a fifth of a tape. Tapes of eight development
 * photos lean by 0.002 to 0.035 from one fifth to another that do not.
 */
const LEAN_SHARED = 0.03;
/**
 * What marks next to each other share is counted in these uncertainties already, so that they are widened less than
 * those of single ticks are in the fit (`UNMODELLED`): errors of 66 sizes beside development tapes ÷ their uncertainties are
 * 0.94 with this (root mean square), 1.6 with 1.8.
 */
const KNOWN_BETTER = 1.25;

/** What was seen of a tape, in places of the photo and millimetres along it. */
export interface TapeSeen {
  /** Stretches of a few marks: two places across the tape and the millimetre that each shows. */
  marks: {
    at: [Point, Point];
    alongMm: [number, number];
    armPx: number;
    sigmaPx: number;
    leanSigma: number;
  }[];
  edges: { low: Point; high: Point; alongMm: number; sigmaPx: number }[];
  centre: Point;
}

export function seenAlong(strip: TapeStrip, { comb, pitchMm }: NamedComb): TapeSeen {
  const { windows } = comb;
  const first = windows[0]!.alongPx;
  const last = windows[windows.length - 1]!.alongPx;
  const middle = windows[windows.length >> 1]!.alongPx;
  const zero = comb.indexAt(middle);
  const mmAt = (along: number, across: number): number =>
    pitchMm * (comb.indexAt(along - comb.leanAt(along) * across) - zero);
  const slope = (along: number): number => (comb.indexAt(along + 1) - comb.indexAt(along - 1)) / 2;
  const armPx = 0.25 * strip.widthPx;
  return {
    marks: windows.map((w) => {
      const mm = (d: number): number =>
        mmAt(w.alongPx, w.acrossPx + d) - pitchMm * (w.offset + w.lean * d * slope(w.alongPx));
      return {
        at: [strip.place(w.alongPx, w.acrossPx - armPx), strip.place(w.alongPx, w.acrossPx + armPx)],
        alongMm: [mm(-armPx), mm(armPx)],
        armPx,
        sigmaPx: w.sigmaPx,
        leanSigma: w.leanSigma,
      };
    }),
    edges: strip.edges
      .filter((m) => m.alongPx > first - 40 && m.alongPx < last + 40)
      .map((m) => ({
        low: strip.place(m.alongPx, m.lowPx),
        high: strip.place(m.alongPx, m.highPx),
        alongMm: mmAt(m.alongPx, 0),
        sigmaPx: m.sigmaPx,
      })),
    centre: strip.place(middle, 0),
  };
}

const between = (p: Point, q: Point, t: number): Point => ({
  x: p.x + t * (q.x - p.x),
  y: p.y + t * (q.y - p.y),
});

/** The ways in which a tape may lie before the camera, likeliest first. */
export function planesOf(
  photo: Pick<DecodedPhoto, 'focalLength35mm'> & { rgb: { widthPx: number; heightPx: number } },
  seen: TapeSeen,
): WeighedPlane[] {
  const { marks, edges } = seen;
  if (marks.length < 4 || edges.length < 3) return [];
  const ticks: TickSighting[] = marks.flatMap((w) => {
    const sigmaPx = Math.hypot(Math.SQRT2 * w.sigmaPx, LEAST_SIGMA_PX);
    const leanSigma = Math.hypot(Math.SQRT2 * w.leanSigma, LEAN_SHARED * Math.sqrt(marks.length / 5));
    // so far apart, what is known of place and lean makes two places that are known independently
    const arm = Math.min(4, sigmaPx / leanSigma / w.armPx);
    // the pattern is what all marks share: how far all of them lean is in it, and not known
    return [0, 1].map((run) => {
      const t = 0.5 + (run === 0 ? -arm : arm) / 2;
      return {
        run,
        alongMm: w.alongMm[0] + t * (w.alongMm[1] - w.alongMm[0]),
        point: between(w.at[0], w.at[1], t),
        sigmaPx: (Math.SQRT2 * sigmaPx) / KNOWN_BETTER,
      };
    });
  });
  const bases: BaseSighting[] = edges.flatMap(({ low, high, alongMm, sigmaPx }) =>
    [low, high].map((point, run) => ({ run, alongMm, point, sigmaPx: sigmaPx / KNOWN_BETTER })),
  );
  const [a, b] = [marks[0]!, marks[marks.length - 1]!].map(({ at }) => between(at[0], at[1], 0.5)) as [
    Point,
    Point,
  ];
  const spanMm = marks[marks.length - 1]!.alongMm[0] - marks[0]!.alongMm[0];
  return weighPlanes(
    photo.focalLength35mm,
    ticks,
    bases,
    {
      origin: seen.centre,
      axisAngle: Math.atan2(b.y - a.y, b.x - a.x),
      mmPerPx: spanMm / Math.hypot(b.x - a.x, b.y - a.y),
    },
    {
      widthPx: photo.rgb.widthPx,
      heightPx: photo.rgb.heightPx,
      distortionUncertainty: DISTORTION_SD,
      tiltUncertainty: TILT_SD,
      workAboveMm: WORK_ABOVE_MM.tape,
      thicknessUncertaintyMm: THICKNESS_MM.tape.sd,
      runs: 2,
    },
    { share: BENT_SHARE, baseAcrossMm: -TAPE_HALF_WIDTH_MM },
  );
}

/**
 * Steeper than this nobody is believed to look at a whole piece: three times `TILT_SD`. Two development tapes that lie in a
 * bend were explained by a tilt of 38° where it is 11 and 14, and sizes beside them were 7 to 20 % off.
 */
const MOST_TILT_DEG = 24;
/** @param isTape whether what was read is surely a tape (`FarTapeRead`) */
export function scaleOfTape(
  photo: DecodedPhoto,
  strip: TapeStrip,
  named: NamedComb,
  isTape = false,
): Scale | null {
  const seen = seenAlong(strip, named);
  const { centre } = seen;
  const found = planesOf(photo, seen);
  if (found.length === 0) return null;
  const { comb } = named;
  const from = comb.windows[0]!.alongPx;
  const to = comb.windows[comb.windows.length - 1]!.alongPx;
  const outline = (across: number): Point[] =>
    Array.from({ length: 9 }, (_, i) => strip.place(from + ((to - from) * i) / 8, across));
  const half = strip.widthPx / 2;
  const outlinePx = [...outline(-half), ...outline(half).reverse()];
  const lengthPx = to - from;
  const scaleBy = (planes: WeighedPlane[]): Scale => {
    const { plane } = planes[0]!;
    const { homographyPxToMm, radialDistortion } = meanOfPlanes(planes);
    const isSure = named.isSure && isTape && plane.tiltDeg < MOST_TILT_DEG;
    const u0 = spreadOfScale(planes, centre, homographyPxToMm);
    const beside = [-1, 1].map((side) => strip.place((from + to) / 2, 0.7 * side * lengthPx));
    const far = beside.reduce((sum, p) => sum + spreadOfScale(planes, p, homographyPxToMm) ** 2 / 2, 0);
    return {
      kind: 'tape',
      variety: named.unit,
      homographyPxToMm,
      homographyCovariance: homographyCovariance(planes, homographyPxToMm),
      mmPerPx: localScale(homographyPxToMm, centre),
      tiltDeg: plane.tiltDeg,
      relativeUncertainty: Math.hypot(u0, PRINTING_UNCERTAINTY),
      relativeUncertaintyPerReferenceLength: Math.sqrt(Math.max(0, far - u0 * u0)) / 0.7,
      variations: variationsOf(planes),
      heldAgainst: (looks, beliefs) => {
        const held = holdPlanes(planes, looks, beliefs);
        return held && scaleBy(held);
      },
      outlinePx,
      radialDistortion,
      workHeight: {
        meanMm: WORK_ABOVE_MM.tape.mean,
        sdMm: WORK_ABOVE_MM.tape.sd,
        faceHeightMm: THICKNESS_MM.tape.mean,
        relativePerMm: relativePerMmOfHeight(plane, centre),
      },
      // Even what is surely one may be misread where other marks contradict it (`preferFarTape`), and its lean is told by
      // what lies beside it alone. What may be no tape at all takes the place of no ticks that agree with it.
      confidence: isSure ? DOUBTFUL_AT_MOST : TRUSTED,
      isSurelyRead: isSure,
      advice: [],
    };
  };
  return scaleBy(found);
}

/**
 * Mean odds along what was read, of a tape and of cloth: of 36 development tapes one has less than 0.6 and one more than 0.1.
 * The border of a piece, whose stitches repeat as evenly as centimetres with their numbers and as far apart for its width,
 * has 0.46 and 0.2.
 */
const LEAST_TAPE = 0.55;
const MOST_CLOTH = 0.14;

/**
 * Of what is surely a tape the network sees so much along its middle, and both of its edges are seen along so much of it.
 * Checks beside a tape, which had passed for it, had 0.62 and 0.35.
 */
const SURELY_TAPE = 0.7;
const SURELY_EDGES = 0.7;
/** Two readings of one photo differ by no more than perspective can, natural logarithm of mm a px. */
const AGREE = 0.25;
/** Less than this share of what speaks for the best is no contradiction. */
const COUNTS = 0.1;

/** How much of a tape is seen in what was read: mean odds along its middle, and the share of its places that show both edges. */
interface TapeSigns {
  tape: number;
  cloth: number;
  edges: number;
}

function signsOf(body: TapeBody, strip: TapeStrip, { comb: { windows } }: NamedComb): TapeSigns {
  const odds = windows.map((w) => body.oddsAt(strip.place(w.alongPx, 0)));
  const [from, to] = [windows[0]!.alongPx, windows[windows.length - 1]!.alongPx];
  const edges = strip.edges.filter((m) => m.alongPx > from - 40 && m.alongPx < to + 40);
  return {
    tape: meanOf(odds.map((o) => o.tape)),
    cloth: meanOf(odds.map((o) => o.cloth)),
    edges: edges.filter((m) => m.sigmaPx < HARDLY_SEEN_PX).length / Math.max(1, edges.length),
  };
}

/** What was read along one of the bodies that the network sees. */
export interface FarTapeRead {
  named: NamedComb;
  strip: TapeStrip;
  /** Whether it is surely a tape: seen as one, between two edges, and contradicted by nothing else that was read. */
  isTape: boolean;
}

/** The surest of the bodies that the network sees, straightened, with what repeats along it. */
export function readBodies(photo: DecodedPhoto, bodies: readonly TapeBody[]): FarTapeRead | null {
  const read: (Omit<FarTapeRead, 'isTape'> & { signs: TapeSigns; worth: number })[] = [];
  let best: (typeof read)[number] | null = null;
  const narrow = bodies.filter((b) => b.widthPx < MOST_WIDTH_PX);
  for (const [i, body] of narrow.slice(0, MOST_READ).entries()) {
    const strip = straightenTape(photo.rgb, body);
    if (!strip) continue;
    for (const named of namedCombs(photo, strip)) {
      const signs = signsOf(body, strip, named);
      if (signs.tape < LEAST_TAPE || signs.cloth > MOST_CLOTH) continue;
      const { windows, clearness } = named.comb;
      const worth =
        (named.isSure ? 10 : 1) * windows.length * Math.sqrt(clearness) * signs.tape ** 2 * signs.edges;
      const one = { named, strip, signs, worth };
      read.push(one);
      if (!best || worth > best.worth) best = one;
    }
    if (best?.named.isSure && best.strip.lengthPx > 2 * (narrow[i + 1]?.lengthPx ?? 0)) break;
  }
  if (!best) return null;
  const { named, strip, signs, worth } = best;
  const mmPerPx = (n: NamedComb): number => n.pitchMm / n.comb.pitchPx;
  const isContradicted = read.some(
    (other) =>
      other.named.isSure &&
      other.worth > COUNTS * worth &&
      Math.abs(Math.log(mmPerPx(other.named) / mmPerPx(named))) > AGREE,
  );
  const isTape = signs.tape >= SURELY_TAPE && signs.edges >= SURELY_EDGES && !isContradicted;
  return { named, strip, isTape };
}

const MOST_READ = 5;
/** What is wider is no tape beside something large, px: it is 15 to 35 px wide, and looks up to twice as wide to the network. */
const MOST_WIDTH_PX = 100;

/**
 * Reads a tape that lies beside something large, from so far that its small marks run together: by all its centimetres or
 * inches at once.
 */
export function readFarTape(photo: DecodedPhoto, bodies: readonly TapeBody[]): Scale | null {
  const best = readBodies(photo, bodies);
  return best && scaleOfTape(photo, best.strip, best.named, best.isTape);
}
