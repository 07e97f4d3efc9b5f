import type { GrayImage, Point, RgbImage } from '../../types.ts';
import { alternateCycles } from './alternateCycles.ts';
import { double } from './double.ts';
import { evenPart } from './evenPart.ts';
import { findSeeds, type FindSeedsOptions, type Seed } from './findSeeds.ts';
import { angleBetween, followBand, type FollowedBand } from './followBand.ts';
import { findHiddenTicks, mayHide, type HiddenTicks } from './hiddenTicks.ts';
import { halve, toDecodedPx, type Level } from './halve.ts';
import { GRADUATIONS, nameGraduation, type NamedGraduation } from './nameGraduation.ts';
import { areMillimetres, marksAlongBody, repeatsAtTwice, type MarksAlong } from './marksAlongBody.ts';
import { nameStacked } from './nameStacked.ts';
import { nameTogether } from './nameTogether.ts';
import { seeNumberedScale } from './numberedScale.ts';
import { quarterMarks } from './quarterMarks.ts';
import {
  beginOf,
  evennessOf,
  heldAgainst,
  leanOfTicks,
  medianOf,
  middleOfTicks,
  readTicks,
  someTicks,
  type Tick,
  type TickRun,
} from './readTicks.ts';
import { longEdges, seedsAlongEdges, type LongEdge } from './seedsAlongEdges.ts';
import { shorterBetween } from './shorterBetween.ts';
import { straightenBand, type StraightBand } from './straightenBand.ts';
import { endsBetween, strengthBetween } from './strengthBetween.ts';
import { unclearScale, type UnclearScale } from './unclearScale.ts';
import { distance } from '../geometry.ts';
import { ramp } from '../ramp.ts';
import { DOUBTFUL_AT_MOST, TRUSTED } from '../trusted.ts';
import type { SightedRulers } from '../../sight/sightRulers.ts';

/** Greatest share of contrast between the ticks that is still no finer tick. */
export const MAX_BETWEEN = 0.3;
/** The same where lengths tell nothing: cloth that passes for even ticks has something between them. */
export const MAX_BETWEEN_UNCLEAR = 0.1;

/** A run of ticks that was read, whether or not its graduation could be named. */
export interface Reading {
  level: Level;
  followed: FollowedBand;
  band: StraightBand;
  run: TickRun;
  /** Side on which long ticks reach further: −1 towards smaller `across`, +1 towards larger. */
  side: 1 | -1;
  named: NamedGraduation | null;
  /** Set where ticks are those of a scale but do not tell of which. */
  unclear: UnclearScale | null;
  /** Millimetres that show only in the sum of many, between the centimetres that were read. */
  hidden: HiddenTicks | null;
  /** Whether its marks are centimetres by their numbers and by how far apart they lie for the scale's width. */
  numbered: boolean;
  /** Whether its ticks are millimetres because marks five and ten times as far apart repeat along the same thing. */
  tenths: boolean;
  /** Whether only all of its ticks at once name it: what single ones say then counts for nothing. */
  together: boolean;
  /**
   * Whether it has no name of its own and was followed along numbers as much as along ticks: the strokes of numbers say
   * nothing of the ticks' direction.
   */
  alongNumbers: boolean;
  /** Millimetres between neighbouring ticks: by name, or of one possibility of an unclear scale; else NaN. */
  pitchMm: number;
  /** Median reach on the other side: where the ticks begin. */
  basePx: number;
  /** Spread of that beginning, in pitches. */
  baseSpread: number;
  /** Strength of lines between the ticks, where finer ticks would be, 1 = as strong as the ticks. */
  between: number;
  /** Pitch in decoded pixels. */
  pitchPx: number;
  /** What other readings of the same ticks add, as the odds that they are right where this one is not, 0 = nothing. */
  backing: number;
  /** Whether its numbers tell of another number of ticks to the inch than their lengths do. */
  numbersDiffer: boolean;
  /** Whether every other of its ticks was read as the same graduation, so that one of both is wrong. */
  disputed: boolean;
}

export interface ReadGraduationsOptions {
  /** The same picture in colour: ticks are then looked for along its long straight edges first. */
  rgb?: RgbImage;
  /** Where the trained network sees rulers: ticks are looked for there once more where none were clear. */
  sighted?: SightedRulers | null;
  /** Called with every reading, for development. */
  onReading?: (reading: Reading, seed: Seed) => void;
}

/** Seeds whose band is followed and read, and seeds looked at for a band at all, at each size and of each sort. */
const SEEDS_FOLLOWED = 8;
const SEEDS_LOOKED_AT = 45;
const MIN_PERIODICITY = 0.4;
/** The same along edges, of which there are few. */
const MIN_PERIODICITY_AT_EDGE = 0.3;
/** From this confidence on, only the same ruler's other edge is still looked for. */
const SURE = 0.95;
/** Times as coarse as where a scale was read, in which its other edge is still looked for. */
const COARSER_FOR_OTHER_EDGE = 2;
/** Pitches looked for by size of the picture, where other than usual. */
const SOUGHT: Record<number, FindSeedsOptions> = {
  0.5: { minPitchPx: 3.4, maxPitchPx: 6, maxTried: 700 },
  1: { minPitchPx: 2.25, maxPitchPx: 14, maxTried: 900 },
};
/** Larger pictures are not doubled: a scale that spans one has no ticks so close. */
const DOUBLED_UP_TO_PX = 2_600_000;
/** Below this a run is read again in a finer picture. */
const DOUBTFUL = 0.8;
/** Rulers and tapes are narrower than this, mm. */
const WIDEST_MM = 70;

/**
 * Finds runs of ticks in a gray picture at up to four sizes (a small one doubled, too) and reads them: positions, lengths, graduation.
 * Best first.
 */
export function readGraduations(gray: GrayImage, options: ReadGraduationsOptions = {}): Reading[] {
  const levels: Level[] = [{ image: gray, factor: 1 }];
  while (levels.length < 4) {
    const last = levels[levels.length - 1]!;
    if (Math.min(last.image.widthPx, last.image.heightPx) < 400) break;
    levels.push({ image: halve(last.image), factor: last.factor * 2 });
  }
  const small = gray.widthPx * gray.heightPx <= DOUBLED_UP_TO_PX;
  let doubled: Level | null = null;
  const levelOf = (factor: number): Level | null =>
    factor < 1
      ? small
        ? (doubled ??= { image: double(gray), factor: 0.5 })
        : null
      : (levels.find((l) => l.factor === factor) ?? null);
  const finerThan = (level: Level): Level | null => levelOf(level.factor / 2);
  const readings: Reading[] = [];
  let sure: Reading | null = null;

  const follow = (seeds: Seed[], level: Level, leastPeriodicity: number): void => {
    const followed: { band: FollowedBand; level: Level }[] = readings.map((r) => ({
      band: r.followed,
      level: r.level,
    }));
    let tried = 0;
    let looked = 0;
    for (const seed of seeds) {
      if (tried >= SEEDS_FOLLOWED) break;
      if (seed.periodicity < leastPeriodicity) continue;
      if (sure && !isBeside(seed, level, sure)) continue;
      if (followed.some((f) => f.level === level && liesOn(seed, f.band))) continue;
      if (++looked > SEEDS_LOOKED_AT) break;
      const own = followBand(level.image, seed);
      const band = own ?? followHalves(level.image, seed);
      if (!band) continue;
      tried++;
      // a seed beside a band is drawn onto it
      const middle = band.stretches[band.stretches.length >> 1]!;
      const known = followed.some((f) => f.level === level && liesOn(middle, f.band));
      followed.push({ band, level });
      if (known) continue;
      let reading = readBand(gray, level, band) ?? (own ? null : readBand(gray, level, withPitch(band, 2)));
      if (!reading) continue;
      const finer =
        level.factor > 1 && isRun(reading) && confidenceOf(reading) < DOUBTFUL ? finerThan(level) : null;
      if (finer) {
        // lengths that differ by less than a pixel here are told apart in the finer picture
        const again = readBand(gray, finer, onLevel(band, level, finer));
        if (again && (again.named || (!reading.named && (again.unclear || !reading.unclear))))
          if (confidenceOf(again) >= confidenceOf(reading)) reading = again;
      }
      if (reading.named && reading.between >= MAX_BETWEEN) {
        const finest = readBetween(gray, finerThan(reading.level), reading);
        if (finest) {
          options.onReading?.(finest, seed);
          readings.push(finest);
        }
      }
      options.onReading?.(reading, seed);
      readings.push(reading);
      if (!sure && confidenceOf(reading) >= SURE && reading.between < MAX_BETWEEN) sure = reading;
    }
  };

  const edges = options.rgb ? longEdges(options.rgb) : [];
  const look = (factor: number, along: readonly LongEdge[], only?: SightedRulers): void => {
    const level = levelOf(factor);
    if (!level) return;
    const sought = SOUGHT[factor] ?? { minPitchPx: 5.5, maxPitchPx: 14, maxTried: 500 };
    const isThere = (s: Seed): boolean =>
      !only || only.isAt({ x: toDecodedPx(level, s.x), y: toDecodedPx(level, s.y) });
    follow(seedsAlongEdges(along, level, sought).filter(isThere), level, MIN_PERIODICITY_AT_EDGE);
    // once a scale is sure, its other edge is a long edge, too
    if (!sure || along.length === 0)
      follow(findSeeds(level.image, sought).filter(isThere), level, MIN_PERIODICITY);
  };
  const factors = [...levels.map((l) => l.factor), 0.5];
  // Beside one scale the other edge's ticks are seen in the same size of the picture, or in the next where they are an
  // inch's eighths or quarters.
  const isWorthIt = (factor: number): boolean =>
    !sure || (factor >= 1 && factor <= COARSER_FOR_OTHER_EDGE * sure.level.factor);
  for (const factor of factors) if (isWorthIt(factor)) look(factor, edges);
  knowBetween(gray, readings);
  const isClear = (): boolean => readings.some((r) => confidenceOf(r) >= DOUBTFUL && r.between < MAX_BETWEEN);
  // where a ruler is seen, its ticks are there, however many other things repeat more clearly
  const { sighted } = options;
  if (sighted && sighted.edges.length > 0)
    for (const factor of factors)
      if (!isClear()) {
        look(factor, sighted.edges, sighted);
        knowBetween(gray, readings);
      }
  let marks: MarksAlong[] = [];
  if (sighted && !isClear()) {
    marks = readAlongBodies(gray, levelOf, sighted, readings, options.onReading);
    knowBetween(gray, readings);
  }
  if (!isClear()) {
    lookForHidden(gray, readings, marks);
    if (sighted) lookForNumbered(gray, readings, sighted, marks);
  }
  if (sighted && readings.every((r) => confidenceOf(r) < TRUSTED)) lookTogether(readings, sighted);
  const own = readings.map(confidenceOf);
  readings.forEach((reading, i) => {
    readings.forEach((other, k) => {
      if (own[i]! > 0 && own[k]! >= LEAST_DISPUTE && isSameNameTwice(reading, other))
        reading.disputed = other.disputed = true;
      // what all ticks together tell is doubtful, and makes nothing surer
      if (other.together) return;
      // with its shortest ticks left out they are other lengths, which speak for themselves
      if (isSameInch(reading, other)) reading.backing = Math.max(reading.backing, own[k]!);
      // the same lengths say no more than once, but where they are seen best they are as sure for the whole run
      else if (own[k]! > own[i]! && isSameScale(reading, other))
        reading.backing = Math.max(reading.backing, (own[k]! - own[i]!) / (1 - own[i]!));
    });
  });
  return readings;
}

/** Marks closer than this, px of a level, are read in a finer one. */
const READ_AT_PX = 6;

/** Marks that show only along the whole of a ruler or tape that the network sees. */
function readAlongBodies(
  gray: GrayImage,
  levelOf: (factor: number) => Level | null,
  sighted: SightedRulers,
  readings: Reading[],
  onReading: ReadGraduationsOptions['onReading'],
): MarksAlong[] {
  const whole = levelOf(1)!;
  const all: MarksAlong[] = [];
  for (const body of sighted.bodies()) {
    const marks = marksAlongBody(gray, body);
    all.push(...marks);
    for (const one of marks) {
      const { band, clearness } = one;
      const middle = band.stretches[band.stretches.length >> 1]!;
      const factor = 2 ** Math.max(-1, Math.floor(Math.log2(middle.pitchPx / READ_AT_PX)));
      const level = levelOf(factor) ?? (factor < 1 ? whole : null);
      if (!level) continue;
      const reading = readBand(gray, level, onLevel(band, whole, level));
      if (!reading) continue;
      if (areMillimetres(one, marks) && (reading.named?.key ?? 'metric') === 'metric')
        takeMillimetres(reading);
      reading.alongNumbers = !reading.named && !reading.tenths;
      onReading?.(reading, { ...middle, periodicity: clearness });
      readings.push(reading);
    }
  }
  return all;
}

/** From this confidence on, what lies between ticks is looked at to know them, not to doubt them. */
const KNOWN_BY_ITSELF = 0.8;

/** Ticks that have no more than this share of their neighbours' contrast where these end are shorter. */
const MOST_AT_ENDS = 0.12;

/** Finer ticks between those read, whose lengths tell nothing (numerals touch some, or far ends are smeared), may be known by theirs. */
function knowBetween(gray: GrayImage, readings: Reading[]): void {
  for (const coarse of readings) {
    if (coarse.between < MAX_BETWEEN || confidenceOf(coarse) < KNOWN_BY_ITSELF) continue;
    if (coarse.named?.key === 'inch-8' && endsBetween(gray, coarse) < MOST_AT_ENDS) {
      coarse.between = 0;
      continue;
    }
    const isHalved = readings.some((fine) => {
      if (confidenceOf(fine) > LEAST_DISPUTE || !isEven(fine) || !areSameTicks(fine, coarse, 2)) return false;
      const reachPx = shorterBetween(fine, coarse);
      if (reachPx === null) return false;
      const { side } = coarse;
      const basePx = beginOf(fine.run.ticks, side);
      return strengthBetween(gray, { ...fine, side, basePx }, reachPx) < MAX_BETWEEN;
    });
    if (isHalved) coarse.between = 0;
  }
}

/** What repeats this clearly is looked at closely, and lines closer than this (px of the level) are not read. */
const REPEATS = 0.6;
const LEAST_PITCH_PX = 2.25;

/**
 * Sixteenths of an inch repeat with every eighth as well, hardly, and all the more at half of it: what repeats clearly,
 * but not at the distance that was seen first, may do so at half that.
 */
function followHalves(image: GrayImage, seed: Seed): FollowedBand | null {
  if (seed.periodicity < REPEATS || seed.pitchPx < 2 * LEAST_PITCH_PX) return null;
  return followBand(image, { ...seed, pitchPx: seed.pitchPx / 2 });
}

/** The same band with ticks so many times as far apart. */
const withPitch = (band: FollowedBand, times: number): FollowedBand => ({
  ...band,
  stretches: band.stretches.map((s) => ({ ...s, pitchPx: s.pitchPx * times })),
});

/** Runs looked at for ticks too fine to be read: the longest and most regular ones. */
const MOST_COARSE = 6;
const MAX_COARSE_JITTER = 0.07;
const EVEN_JITTER = 0.03;
const BEYOND_DOUBT = 40;

/** How sure a reading has to be to dispute another: of 226 rulers and tapes three are disputed. */
const LEAST_DISPUTE = 0.1;

/** Where single ticks tell nothing, perhaps their sum does. */
function lookForHidden(gray: GrayImage, readings: Reading[], marks: readonly MarksAlong[]): void {
  const coarse = readings
    .filter((r) => !r.named && r.run.completeness > 0.75 && r.run.jitter < MAX_COARSE_JITTER)
    .sort(
      (p, q) =>
        Number(q.alongNumbers) - Number(p.alongNumbers) ||
        q.run.ticks.length / q.run.jitter - p.run.ticks.length / p.run.jitter,
    );
  for (const r of coarse.slice(0, MOST_COARSE)) {
    const found = ([10, 5] as const).flatMap((perCoarse) => {
      // a fifth of what is not halves of something may be a fifth harmonic
      const areHalves = perCoarse === 10 || repeatsAtTwice(pitchesAlong(r, 1), marks);
      const hidden =
        areHalves && mayHide(r.pitchPx, perCoarse)
          ? findHiddenTicks(gray, r.level, r.band, r.run.ticks, perCoarse)
          : null;
      return hidden ? [{ hidden, pitchMm: perCoarse }] : [];
    });
    if (found.length !== 1) continue;
    const { hidden, pitchMm } = found[0]!;
    // printed centimetres are even; what is not (a carpet gave such a run) must show its tenths beyond doubt
    if (r.run.jitter > EVEN_JITTER && hidden.strength * hidden.share ** 2 < BEYOND_DOUBT) continue;
    r.hidden = hidden;
    // what lies between the coarse ticks is known now
    r.between = 0;
    r.pitchMm = pitchMm;
    r.side = hidden.fromAcross + hidden.toAcross < 0 ? 1 : -1;
  }
}

/**
 * Centimetres lie this far apart, as a share of a tape's width (13 to 20 mm, seen up to 35° from the side); inches of
 * a tape lie further apart, and those of a ruler are fewer than `LEAST_NUMBERED`.
 */
const CENTIMETRES_OF_WIDTH = [0.42, 0.8] as const;
const LEAST_NUMBERED = 14;
/** Quarters of an inch, of which every fourth is numbered, lie closer together than this. */
const WIDER_THAN_QUARTERS = 0.6;
/**
 * On a ruler they lie closer for its width (24 to 36 mm), on a narrow tape seen from the side further apart. So do the
 * inches of a patchworker's ruler: what tells centimetres there is that nothing stands at their quarters, which all
 * scales of inches have. Of 90 development readings of inches, wholes and halves, in which quarters could be looked for
 * the faintest two had 0.03 and 0.11 of the marks' contrast, both further apart than their ruler is wide; of those
 * closer than this the faintest had 0.19.
 */
const WITHOUT_QUARTERS = [0.22, 0.95] as const;
const FEWER_WITHOUT_QUARTERS = [0.22, 0.62] as const;
const MOST_QUARTERS = 0.1;
const LEAST_WITHOUT_QUARTERS = 12;
/** No ruler of inches has as many numbers as this (18 inches are the longest that lie on a table). */
const MANY_NUMBERED = 19;
/** What numbers and width say of the unit, of that many marks and of fewer: less than ticks do. */
const NUMBERED_CONFIDENCE = [0.7, 0.6] as const;
const MAX_NUMBERED_JITTER = 0.08;
const MOST_NUMBERED_PX = 60;

/** Where no millimetres can be seen, marks that all are numbered may be centimetres. */
function lookForNumbered(
  gray: GrayImage,
  readings: Reading[],
  sighted: SightedRulers,
  marks: readonly MarksAlong[],
): void {
  for (const r of readings) {
    if (r.named || r.run.completeness < 0.75 || r.run.jitter > MAX_NUMBERED_JITTER) continue;
    // further apart, millimetres between them would be read: the loops of a border had passed for numbers
    if (r.pitchPx > MOST_NUMBERED_PX) continue;
    const { level, band, run } = r;
    const seen = seeNumberedScale(level, band, run.ticks, run.polarity, sighted);
    if (!seen || readings.some((other) => deniesCentimetres(r, other))) continue;
    const isWithin = (ofWidth: number, [low, high]: readonly [number, number]): boolean =>
      ofWidth > low && ofWidth < high;
    const isCentimetre = (ofWidth: number, ticks: readonly Tick[]): boolean =>
      (ticks.length >= LEAST_NUMBERED && isWithin(ofWidth, CENTIMETRES_OF_WIDTH)) ||
      (isWithin(ofWidth, ticks.length >= LEAST_NUMBERED ? WITHOUT_QUARTERS : FEWER_WITHOUT_QUARTERS) &&
        ticks.length >= LEAST_WITHOUT_QUARTERS &&
        (quarterMarks(gray, level, band, ticks, run.polarity, seen.edges) ?? 1) < MOST_QUARTERS);
    const each =
      seen.numbers === 'each' || (seen.numbers === 'some' && seen.pitchOfWidth > WIDER_THAN_QUARTERS);
    const isHalf = (times: number): boolean => repeatsAtTwice(pitchesAlong(r, times), marks);
    if (each && isCentimetre(seen.pitchOfWidth, run.ticks) && !isHalf(1)) takeCentimetres(r);
    else if ((seen.numbers === 'even' || seen.numbers === 'odd') && r.pitchMm !== 10) {
      // halves that are not numbered lie between
      const rest = seen.numbers === 'even' ? 0 : 1;
      const numbered = someTicks(run, (t) => Math.abs(t.index % 2) === rest);
      const ticks = halfIndexed(numbered.ticks, rest);
      if (!isCentimetre(2 * seen.pitchOfWidth, ticks) || isHalf(2)) continue;
      // each with all that is its own; its place is still read as that of one line among lines half as far apart
      const wide = { ...band, pitchAt: (along: number) => 2 * band.pitchAt(along) };
      if (seeNumberedScale(level, wide, ticks, run.polarity, sighted)?.numbers !== 'each') continue;
      if (r.hidden) {
        r.numbered = true;
        continue;
      }
      r.run = { ...numbered, ticks, pitchPx: 2 * run.pitchPx, jitter: run.jitter / 2 };
      r.pitchPx *= 2;
      takeCentimetres(r);
    }
  }
  // five millimetres that lie between are more than the centimetres that know them
  for (const r of readings) {
    if (r.named || r.numbered || r.hidden || r.tenths) continue;
    if (r.run.completeness < 0.75 || r.run.jitter > MAX_NUMBERED_JITTER) continue;
    if (!readings.some((other) => other.numbered && other.pitchMm === 10 && areSameTicks(r, other, 2)))
      continue;
    takeCentimetres(r);
    r.pitchMm = 5;
    r.alongNumbers = true;
  }
  // millimetres of which few are seen between them are placed better than they are
  for (const r of readings)
    if (r.hidden && !r.numbered)
      r.numbered = readings.some((other) => other.numbered && areSameTicks(r, other, 1));
}

/** Share of the ticks that lie on what the network takes for a ruler, and how much surer one reading is than another. */
const MOST_ON_RULER = 0.7;
const MUCH_SURER = 3;

/** Where nothing else is known of any ticks on a ruler, all of them at once may tell their graduation. */
function lookTogether(readings: Reading[], sighted: SightedRulers): void {
  const told = readings.flatMap((r) => {
    const { run, band, level } = r;
    const on = run.ticks.filter((t) => {
      const p = band.toPoint(t.along, 0);
      return sighted.isOn({ x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) });
    }).length;
    if (on < MOST_ON_RULER * run.ticks.length || r.run.jitter > MAX_NUMBERED_JITTER) return [];
    const found = nameTogether(run, -band.acrossStart);
    return found ? [{ r, ...found, pitchMm: GRADUATIONS[found.named.key].pitchMm }] : [];
  });
  for (const { r, named, side, evidence, pitchMm } of told) {
    // what is read of one ruler has one size
    const isDenied = told.some((o) => {
      const apart = Math.abs(Math.log((pitchMm / r.pitchPx) * (o.r.pitchPx / o.pitchMm)));
      return apart > MOST_TILTED && evidence < MUCH_SURER * o.evidence;
    });
    if (isDenied) continue;
    const basePx = beginOf(r.run.ticks, side);
    const numbers = alternateCycles({ ...r, named, side, basePx }, GRADUATIONS[named.key].period);
    if (numbers > NUMBERED_APART[0]) continue;
    Object.assign(r, {
      together: true,
      named,
      side,
      pitchMm,
      basePx,
      between: 0,
      unclear: null,
    });
  }
}

/** How far apart ticks lie (so many times as far, decoded px) a quarter of the run from each end and in its middle. */
function pitchesAlong(
  { run, band, level, pitchPx }: Reading,
  times: number,
): { at: Point; pitchPx: number }[] {
  const middle = band.pitchAt(run.ticks[run.ticks.length >> 1]!.along);
  return [0.25, 0.5, 0.75].map((part) => {
    const { along } = run.ticks[Math.floor(part * run.ticks.length)]!;
    const at = band.toPoint(along, 0);
    return {
      at: { x: toDecodedPx(level, at.x), y: toDecodedPx(level, at.y) },
      pitchPx: (times * pitchPx * band.pitchAt(along)) / middle,
    };
  });
}

/** The tick in the middle of a run, decoded px. */
function middleOf({ run, band, level }: Reading): Point {
  const at = band.toPoint(run.ticks[run.ticks.length >> 1]!.along, 0);
  return { x: toDecodedPx(level, at.x), y: toDecodedPx(level, at.y) };
}

/** Whether ticks on the same thing say of themselves that they are of another size than centimetres here would make them. */
function deniesCentimetres(r: Reading, other: Reading): boolean {
  if (!other.named || confidenceOf(other) < LEAST_DISPUTE) return false;
  const lengthPx = r.run.ticks.length * r.pitchPx;
  if (distance(middleOf(r), middleOf(other)) > lengthPx / 2) return false;
  const mm = [5, 10].map((pitchMm) => (pitchMm / r.pitchPx) * (other.pitchPx / pitchMmOf(other)));
  return mm.every((ratio) => Math.abs(Math.log(ratio)) > MOST_TILTED);
}

/** What a tilt may change of the scale between two places of one ruler, natural logarithm. */
const MOST_TILTED = 0.3;

const halfIndexed = (ticks: readonly Tick[], rest: 0 | 1): Tick[] =>
  ticks.map((t) => ({ ...t, index: Math.round((t.index - rest) / 2) }));

function takeMillimetres(r: Reading): void {
  r.tenths = true;
  r.unclear = null;
  r.between = 0;
  r.pitchMm = 1;
}

function takeCentimetres(r: Reading): void {
  r.numbered = true;
  r.unclear = null;
  r.between = 0;
  r.pitchMm = 10;
}

/** The ticks twice as close that were seen between those read; null where they cannot be read. */
function readBetween(gray: GrayImage, finerLevel: Level | null, reading: Reading): Reading | null {
  const { level, followed } = reading;
  // where they are less than this apart they blur into each other
  const LEAST_PITCH_PX = 6;
  const finer = finerLevel && reading.run.pitchPx < 2 * LEAST_PITCH_PX ? finerLevel : level;
  const band = onLevel(followed, level, finer);
  return readBand(gray, finer, {
    stretches: band.stretches.map((s) => ({ ...s, pitchPx: s.pitchPx / 2 })),
    // the shortest ticks are shorter than those read
    depthPx: 0.7 * band.depthPx,
  });
}

/** Whether all ticks and every other one of them were read as the same graduation: an inch of sixteenths as two of eighths. */
function isSameNameTwice(fine: Reading, coarse: Reading): boolean {
  return fine.named !== null && fine.named.key === coarse.named?.key && areSameTicks(fine, coarse, 2);
}

/** Whether `coarse` is the same inch scale as `fine`, read without its shortest ticks. */
function isSameInch(fine: Reading, coarse: Reading): boolean {
  const halved = { 'inch-16': 'inch-8', 'inch-8': 'inch-4' } as const;
  if (!fine.named || !coarse.named || fine.named.key === 'metric' || fine.named.key === 'inch-4')
    return false;
  return coarse.named.key === halved[fine.named.key] && areSameTicks(fine, coarse, 2);
}

/** Whether two readings of the same ticks, in pictures of two sizes or along more of them, name them alike. */
const isSameScale = (a: Reading, b: Reading): boolean =>
  a !== b && a.named !== null && a.named.key === b.named?.key && areSameTicks(a, b, 1);

/** Whether `other` was read where `reading` was, its ticks `times` as far apart. */
function areSameTicks(reading: Reading, other: Reading, times: number): boolean {
  const ticks = other.run.ticks;
  const middle = other.band.toPoint(ticks[ticks.length >> 1]!.along, 0);
  const p = { x: toDecodedPx(other.level, middle.x), y: toDecodedPx(other.level, middle.y) };
  return reading.followed.stretches.some((s) => {
    const dx = p.x - toDecodedPx(reading.level, s.x);
    const dy = p.y - toDecodedPx(reading.level, s.y);
    const along = dx * Math.cos(s.axisAngle) + dy * Math.sin(s.axisAngle);
    const across = -dx * Math.sin(s.axisAngle) + dy * Math.cos(s.axisAngle);
    const pitchPx = s.pitchPx * reading.level.factor;
    return (
      Math.abs(along) < 12 * pitchPx &&
      Math.abs(across) < 3 * pitchPx &&
      Math.abs(Math.log(other.pitchPx / (times * pitchPx))) < 0.08
    );
  });
}

/** Ticks that are regular enough to be print. */
const isEven = (r: Reading): boolean =>
  r.run.jitter < 0.04 && r.run.completeness > 0.85 && r.baseSpread < 0.5 && r.run.ticks.length >= 14;

/** Ticks that may be told apart and placed better where they are seen larger. */
const isRun = (r: Reading): boolean => r.run.completeness > 0.85 && r.run.ticks.length >= 14;

/** The same band in another size of the picture. */
function onLevel(band: FollowedBand, from: Level, to: Level): FollowedBand {
  const k = from.factor / to.factor;
  // pixels are points in the middle of their squares
  const place = (v: number): number => (v + 0.5) * k - 0.5;
  return {
    stretches: band.stretches.map((s) => ({ ...s, x: place(s.x), y: place(s.y), pitchPx: s.pitchPx * k })),
    depthPx: band.depthPx * k,
  };
}

/** Whether a seed runs along a ruler that was read, no further off than its other edge can be. */
function isBeside(seed: Seed, level: Level, sure: Reading): boolean {
  const stretches = sure.followed.stretches;
  const x = toDecodedPx(level, seed.x);
  const y = toDecodedPx(level, seed.y);
  const far = (WIDEST_MM * sure.pitchPx) / pitchMmOf(sure);
  return stretches.some((s) => {
    const dx = x - toDecodedPx(sure.level, s.x);
    const dy = y - toDecodedPx(sure.level, s.y);
    return Math.hypot(dx, dy) < far && Math.abs(angleBetween(seed.axisAngle, s.axisAngle)) < 0.35;
  });
}

/** Whether a seed lies on a band that was followed already. */
function liesOn(
  seed: { x: number; y: number; axisAngle: number; pitchPx: number },
  band: FollowedBand,
): boolean {
  for (const s of band.stretches) {
    const dx = seed.x - s.x;
    const dy = seed.y - s.y;
    const along = dx * Math.cos(s.axisAngle) + dy * Math.sin(s.axisAngle);
    const across = -dx * Math.sin(s.axisAngle) + dy * Math.cos(s.axisAngle);
    if (
      Math.abs(along) < 8 * s.pitchPx + 40 &&
      Math.abs(across) < 0.5 * band.depthPx + 8 &&
      Math.abs(angleBetween(seed.axisAngle, s.axisAngle)) < 0.45 &&
      Math.abs(Math.log(seed.pitchPx / s.pitchPx)) < 0.25
    )
      return true;
  }
  return false;
}

/** What was followed may lie aside from the ticks by an amount that changes along the run: then look again. */
function readBand(gray: GrayImage, level: Level, followed: FollowedBand): Reading | null {
  const reading = readAlong(gray, level, followed, false);
  if (!reading || reading.named || !isEven(reading)) return reading;
  const again = readAlong(gray, level, followed, true);
  return again && (again.named || again.unclear) ? again : reading;
}

/** The ticks of a band as far as they are even. */
function readEvenTicks(band: StraightBand, depthPx: number, polarity: 1 | -1): TickRun | null {
  const run = readTicks(band, depthPx, polarity);
  if (!run) return null;
  const [from, to] = evenPart(run.ticks);
  if (to - from < LEAST_TICKS) return null;
  const part = someTicks(run, (_, i) => i >= from && i < to);
  return { ...part, ...evennessOf(part.ticks) };
}

const LEAST_TICKS = 12;

function readAlong(gray: GrayImage, level: Level, followed: FollowedBand, recentre: boolean): Reading | null {
  // shallow first: most bands are no scale, and the ticks' slant shows in the shortest ones
  const rough = straightenBand(level.image, followed, 3.5);
  let best: Reading | null = null;
  for (const polarity of [-1, 1] as const) {
    const first = readEvenTicks(rough, followed.depthPx, polarity);
    if (!first || first.jitter > 0.09 || first.completeness < 0.5) continue;
    const lean = leanOfTicks(rough, first) ?? rough.leanAt;
    const band = straightenBand(level.image, followed, 13, {
      lean,
      shift: recentre ? middleOfTicks(first) : () => 0,
    });
    const run = readEvenTicks(band, followed.depthPx, polarity);
    if (!run || run.jitter > 0.09 || run.completeness < 0.5) continue;
    const divisor = commonDivisor(run);
    if (divisor > 1) {
      for (const t of run.ticks) t.index /= divisor;
      run.pitchPx *= divisor;
    }
    const where = { level, followed, band };
    best = better(best, readBothSides(where, run));
    // a number that stands beside its tick fills the gap that the tick is held against
    const mayHide = run.pitchPx >= LEAST_CLOSER_PX && run.jitter < EVEN_RUN.jitter;
    if (mayHide && run.completeness > EVEN_RUN.completeness && !isPlain(best))
      best = better(best, readBothSides(where, heldAgainst(band, run, CLOSER)));
  }
  if (best?.named) {
    best.between = strengthBetween(gray, best);
    heedNumbers(best);
  } else if (best) {
    for (const side of [1, -1] as const) {
      const unclear = unclearScale(best.run, side, -best.band.acrossStart);
      if (!unclear || (best.unclear && unclear.pattern === 'even')) continue;
      best.unclear = unclear;
      best.side = side;
      best.basePx = beginOf(best.run.ticks, side);
    }
    if (best.unclear) best.between = strengthBetween(gray, best);
  }
  return best;
}

/**
 * 2 ln(odds) that only every other "inch" of eighths has a number, from which on they are doubted, and taken for
 * sixteenths. Of 161 development readings of eighths that were right three had 6 to 20, the others 2 at most; of eight
 * of sixteenths two had 11 and 20, the others 72 and more.
 */
const NUMBERED_APART = [9, 30] as const;

/** Whole inches that look like halves make sixteenths look like eighths; but halves have no numbers. */
function heedNumbers(r: Reading): void {
  if (r.named?.key !== 'inch-8') return;
  const apart = alternateCycles(r, GRADUATIONS['inch-8'].period);
  if (apart < NUMBERED_APART[0]) return;
  r.numbersDiffer = true;
  if (apart < NUMBERED_APART[1]) return;
  r.named = { ...r.named, key: 'inch-16' };
  r.pitchMm = GRADUATIONS['inch-16'].pitchMm;
}

/** How far from its middle a tick is held against where numbers may stand beside it, pitches, and from what pitch on, px. */
const CLOSER = 0.25;
const LEAST_CLOSER_PX = 9;
const EVEN_RUN = { jitter: 0.04, completeness: 0.85 };
/** From this margin on nothing else explains the lengths nearly as well. */
const PLAIN_MARGIN = 0.8;
const isPlain = (r: Reading): boolean => (r.named?.margin ?? 0) >= PLAIN_MARGIN;

type Where = Pick<Reading, 'level' | 'followed' | 'band'>;

const better = (a: Reading | null, b: Reading): Reading => (a && rank(a) >= rank(b) ? a : b);

const readBothSides = (where: Where, run: TickRun): Reading =>
  better(readRun(where, run, 1), readRun(where, run, -1));

/** A run's ticks with the graduation that their lengths name where long ones reach to one side. */
function readRun({ level, followed, band }: Where, run: TickRun, side: 1 | -1): Reading {
  const strong = someTicks(run, (t) => t.strength > 0.4);
  const usable = strong.ticks;
  const single = nameGraduation(
    usable.map((t) => t.index),
    usable.map((t) => (side > 0 ? t.reachDown : t.reachUp)),
  );
  const named =
    single && single.agreement >= CLEAR_AGREEMENT ? single : clearer(single, stackedName(run, side, band));
  const others = usable.map((t) => (side > 0 ? t.reachUp : t.reachDown));
  const basePx = medianOf(others);
  const baseSpread = (1.4826 * medianOf(others.map((v) => Math.abs(v - basePx)))) / run.pitchPx;
  return {
    level,
    followed,
    band,
    run: strong,
    side,
    named,
    unclear: null,
    hidden: null,
    numbered: false,
    tenths: false,
    together: false,
    alongNumbers: false,
    pitchMm: named ? GRADUATIONS[named.key].pitchMm : NaN,
    basePx,
    baseSpread,
    between: 0,
    pitchPx: run.pitchPx * level.factor,
    backing: 0,
    numbersDiffer: false,
    disputed: false,
  };
}

/** Share of single ticks of their level's length from which on stacks are not needed. */
const CLEAR_AGREEMENT = 0.92;

const stackedName = (run: TickRun, side: 1 | -1, band: StraightBand): NamedGraduation | null =>
  nameStacked(
    run,
    run.ticks.map((t) => t.strength > 0.4),
    side,
    -band.acrossStart,
  );

/** Stacks speak where single ticks name nothing, or for the same name; against single ticks they do not. */
function clearer(single: NamedGraduation | null, stacks: NamedGraduation | null): NamedGraduation | null {
  if (!single || !stacks) return single ?? stacks;
  return stacks.key === single.key && stacks.agreement > single.agreement ? stacks : single;
}

/** Greater is better: readings whose graduation is named, by how far they are from any other explanation. */
export const rank = (r: Reading): number =>
  r.named ? 10 + Math.min(10, r.named.margin) * r.named.agreement * r.run.completeness : -r.run.jitter;

function commonDivisor(run: TickRun): number {
  const gcd = (a: number, b: number): number => (b === 0 ? a : gcd(b, a % b));
  let d = 0;
  for (let i = 1; i < run.ticks.length; i++) d = gcd(d, run.ticks[i]!.index - run.ticks[0]!.index);
  if (d > 1) {
    // counted from the first, so that indices stay whole
    const first = run.ticks[0]!.index;
    for (const t of run.ticks) t.index -= first;
  }
  return Math.max(1, d);
}

/** Millimetres between neighbouring ticks. */
export const pitchMmOf = (r: Reading): number => r.pitchMm;

/** What noise moves a single tick by, px of the photo: of ticks 2 pixels apart it is a large share. */
const NOISE_PX = [0.24, 0.18] as const;

/** How sure it is that tenths lie between the coarse ticks, and that these are not every half of what is numbered. */
const hiddenConfidence = (h: HiddenTicks, pitchMm: number): number =>
  // by chance they show in half of the windows at most
  ramp(h.strength * h.share ** 2, 10, 15) *
  ramp(h.excess, 2.5, 4) *
  // halves of centimetres alternate with wholes
  (pitchMm === 10 ? ramp(h.alternation, 0.7, 0.4) : 1);

/** Lines of ten, five and one millimetre in exact proportion leave no doubt of the unit, but their ticks are faint. */
const TENTHS_CONFIDENCE = DOUBTFUL_AT_MOST;

/**
 * How far the places where ticks begin may scatter, in pitches. Cloth and combs, whose lines begin anywhere, are taken for
 * quarters of an inch now and then; of 226 development scenes without a scale none ever had lines as long and short as
 * millimetres, eighths or sixteenths are, so that a striped table which hides where the ticks of these begin is no doubt.
 */
const MOST_BASE_SPREAD = { quarters: [0.9, 0.45], others: [1.8, 0.9] } as const;

/** 0…1 from how clearly the lengths name the graduation and how well the run holds together. */
export function confidenceOf(r: Reading): number {
  const n = r.named;
  if (r.hidden || r.numbered) {
    const byNumbers = r.numbered ? NUMBERED_CONFIDENCE[r.run.ticks.length >= MANY_NUMBERED ? 0 : 1] : 0;
    return 1 - (1 - byNumbers) * (1 - (r.hidden ? hiddenConfidence(r.hidden, r.pitchMm) : 0));
  }
  if (r.tenths) return TENTHS_CONFIDENCE * ramp(r.run.completeness, 0.5, 0.75);
  if (!n) return 0;
  if (r.together) return DOUBTFUL_AT_MOST * ramp(r.run.completeness, 0.5, 0.75);
  const periods = r.run.ticks.length / GRADUATIONS[n.key].period;
  const many = ramp(periods, 6, 11);
  const mostSpread = MOST_BASE_SPREAD[n.key === 'inch-4' ? 'quarters' : 'others'];
  // three levels in four ticks say less than four in eight: more of them must agree
  const coarse = n.key === 'inch-4' ? ramp(periods, 2.5, 4) * ramp(n.margin, 0.4, 1) : 1;
  const own =
    coarse *
    // over many periods a small difference is no chance, but wholes that look like halves make sixteenths look like eighths
    (n.key === 'inch-8' || n.key === 'inch-4'
      ? ramp(n.margin, 0.15 - 0.03 * many, 0.8 - 0.3 * many)
      : ramp(n.margin, 0.15 - 0.05 * many, 0.8 - 0.4 * many)) *
    // so do many periods where many a tick is short or long by chance (worn ink, glare)
    ramp(n.agreement, 0.75 - 0.1 * many, 0.92 - 0.12 * many) *
    // over many periods the levels stand apart even where single ticks scatter
    ramp(n.separation * Math.min(1.6, Math.sqrt(periods / 3)), 1.4, 2.5) *
    ramp(periods, 1.4, 2.4) *
    ramp(n.majors, 1, 2) *
    ramp(r.run.completeness, 0.5, 0.75) *
    ramp(r.run.jitter, Math.max(0.09, NOISE_PX[0] / r.pitchPx), Math.max(0.05, NOISE_PX[1] / r.pitchPx)) *
    ramp(r.baseSpread, mostSpread[0], mostSpread[1]);
  const believed = r.numbersDiffer ? Math.min(own, DOUBTFUL_AT_MOST) : own;
  const confidence = own > 0 ? 1 - (1 - believed) * (1 - r.backing) : 0;
  return r.disputed ? Math.min(confidence, DOUBTFUL_AT_MOST) : confidence;
}
