import {
  GRADUATIONS,
  PATTERNS,
  OTHERS,
  type GraduationKey,
  type NamedGraduation,
  type Pattern,
} from './nameGraduation.ts';
import { beginOf, type TickRun } from './readTicks.ts';

/** Rows that are laid together, as a share of the pitch, px at least and at most: blur makes neighbours alike. */
const ROWS_OF_PITCH = 0.35;
const FEWEST_ROWS_PX = 1.6;
const MOST_ROWS_PX = 4;
/** Share of the ticks that a row has to show. */
const LEAST_SHOWN = 0.7;
/** Longest ticks that have to be seen: two may be alike by chance. */
const LEAST_LONGEST = 3;
/** What is more than this many times a tick, or as much darker, is a numeral's. */
const MOST = 1.2;
const LEAST = -0.5;
/** A tick that is there has at least this share of its contrast where it begins; and what ticks differ by anyhow. */
const THERE = 0.3;
const ANYHOW = 0.15;
/** What each further length of ticks is charged, 2 ln(odds). */
const CHARGE = 3;
/** 2 ln(odds) against whatever does not nest alike, and for the longest ticks, from which on something is named. */
const LEAST_MARGIN = 20;
const LEAST_FOR_LONGEST = 30;
/**
 * What speaks for the longest ticks against what does for the second longest: there are as many of both, as much longer
 * than the next. One cycle taken for two gives 0.3 at most on development scales, by numbers that look like ticks, a true
 * one 0.37 at least; between these two nothing is named. Where numbers hide all of the second longest, against the rest.
 */
const LEAST_OF_SECOND = [0.25, 0.36] as const;
const OF_REST = 0.6;
/** Evidence, 2 ln(odds), of the other lengths. */
const LEAST_FOR_OTHERS = 8;
/**
 * How far the second longest ticks reach at most, as a share of the unit: on scales of inches 0.17 to 0.26, of
 * centimetres 0.4 to 0.65 (common practice; seen aslant, a fifth more). Quarters of an inch taken for wholes would be
 * twice as long and more.
 */
const SECOND_OF_UNIT = { inch: 0.3, metric: 0.8 };

/** Length of the longest ticks against that of the second longest, at most (common practice: 1.2 to 1.5). */
const LONGEST_OF_SECOND = 1.4;

/** A graduation that all ticks together tell. */
export interface NamedTogether {
  named: NamedGraduation;
  side: 1 | -1;
  /** 2 ln(odds) against the best other explanation. */
  evidence: number;
}

/** One strip along the ticks: their contrast in it, 1 = as where they begin. */
interface Strip {
  /** Px from the middle of the shortest ticks. */
  reachPx: number;
  values: Float64Array;
  /** Sum of squares about the mean, and what ticks differ by anyhow. */
  squares: number;
  mean: number;
}

interface Explained {
  pattern: Pattern;
  side: 1 | -1;
  phase: number;
  score: number;
  /** Evidence for each length but the shortest, longest first. */
  evidence: number[];
  /** How far each length reaches, longest first, px from the middle of the shortest ticks. */
  reachesPx: number[];
}

/**
 * Names the graduation of a run whose single ticks are too faint, blurred or hidden for their lengths to be read, from
 * all of them at all depths at once. Wherever a graduation has ticks of some length, in every strip along it the ticks
 * that reach so far stand out from those that do not; each strip says how much likelier this makes what is seen than
 * ticks all alike (a generalised likelihood ratio), and strips further in show fewer, longer ticks. All graduations in
 * all phases are weighed so, and what is none of them: whatever else repeats.
 *
 * @param zeroRow row of the middle of the short ticks in `run.response`
 * @returns null where no graduation stands out
 */
export function nameTogether(run: TickRun, zeroRow: number): NamedTogether | null {
  const all = ([1, -1] as const).flatMap((side) => {
    const strips = stripsOf(run, zeroRow, side);
    return [...Object.values(PATTERNS), ...OTHERS].flatMap(
      (pattern) => explain(run, strips, pattern, side) ?? [],
    );
  });
  const best = new Map<Pattern, Explained>();
  for (const e of all) if (e.score > (best.get(e.pattern)?.score ?? -Infinity)) best.set(e.pattern, e);
  const named = (['inch', 'metric'] as const).flatMap((unit) => {
    // of those that nest, the one with the longest cycle whose longest ticks may be seen
    const own = [...best.values()]
      .filter(({ pattern }) => isGraduation(pattern.key) && GRADUATIONS[pattern.key].unit === unit)
      .sort((p, q) => q.pattern.period - p.pattern.period)
      .find((e) => longestOfSecond(e) > LEAST_OF_SECOND[0]);
    if (!own || longestOfSecond(own) < LEAST_OF_SECOND[1]) return [];
    const twice = TWICE[own.pattern.key as GraduationKey];
    // whether every other cycle differs has to have been looked at
    if (twice && !best.has(PATTERNS[twice])) return [];
    const evidence = own.score - bestRival(best, own);
    return evidence > LEAST_MARGIN && isInProportion(run, own) ? [{ own, evidence }] : [];
  });
  const [first] = named;
  if (!first) return null;
  const { own, evidence } = first;
  return { named: graduationOf(run, own, evidence), side: own.side, evidence };
}

/** Graduations of inches whose cycle is twice as many ticks long. */
const TWICE: Partial<Record<GraduationKey, GraduationKey>> = { 'inch-4': 'inch-8', 'inch-8': 'inch-16' };

const isGraduation = (key: string): key is GraduationKey => key in PATTERNS;

/** What speaks for the longest ticks of a cycle, as a share of what does for the second longest; 0 where it is too little. */
function longestOfSecond({ evidence: [longest, ...others] }: Explained): number {
  if (longest! < LEAST_FOR_LONGEST || others.reduce((sum, v) => sum + v, 0) < LEAST_FOR_OTHERS) return 0;
  const second = others[0]!;
  return second > 0.1 * longest! ? longest! / second : (OF_REST * longest!) / Math.max(...others);
}

/** Score of the best explanation that does not nest like this one. */
function bestRival(all: ReadonlyMap<Pattern, Explained>, { pattern }: Explained): number {
  const isInch = (p: Pattern): boolean => p.key.startsWith('inch');
  let best = 0;
  for (const [other, { score }] of all)
    if (other !== pattern && !(isInch(pattern) && isInch(other))) best = Math.max(best, score);
  return best;
}

function isInProportion(run: TickRun, { pattern, side, reachesPx }: Explained): boolean {
  const { unit } = GRADUATIONS[pattern.key as GraduationKey];
  return (reachesPx[1]! + beginOf(run.ticks, side)) / (pattern.period * run.pitchPx) < SECOND_OF_UNIT[unit];
}

function stripsOf({ ticks, response, rows, pitchPx }: TickRun, zeroRow: number, side: 1 | -1): Strip[] {
  const height = Math.max(FEWEST_ROWS_PX, Math.min(MOST_ROWS_PX, ROWS_OF_PITCH * pitchPx));
  const strips: Strip[] = [];
  for (let s = 0; ; s++) {
    const [a, b] = [zeroRow + side * (s - 0.5) * height, zeroRow + side * (s + 0.5) * height].sort(
      (p, q) => p - q,
    ) as [number, number];
    const from = Math.round(a);
    const to = Math.max(from + 1, Math.round(b));
    if (from < 0 || to > rows) return strips;
    const values = new Float64Array(ticks.length).fill(NaN);
    let shown = 0;
    let sum = 0;
    for (let t = 0; t < ticks.length; t++) {
      let v = 0;
      for (let r = from; r < to; r++) v += response[t * rows + r]! / (to - from);
      if (Number.isNaN(v)) continue;
      values[t] = Math.max(LEAST, Math.min(MOST, v));
      sum += values[t]!;
      shown++;
    }
    if (shown < LEAST_SHOWN * ticks.length) return strips;
    const mean = sum / shown;
    let squares = shown * ANYHOW ** 2;
    for (const v of values) if (!Number.isNaN(v)) squares += (v - mean) ** 2;
    strips.push({ reachPx: (s + 0.5) * height, values, squares, mean });
  }
}

/** Level of a tick of a pattern that begins at `phase`. */
const levelAt = ({ period, levelOf }: Pattern, phase: number, index: number): number =>
  levelOf((((index - phase) % period) + period) % period);

/** The phase in which a pattern explains the strips best; null where too few of its longest ticks are in view. */
function explain(
  { ticks }: TickRun,
  strips: readonly Strip[],
  pattern: Pattern,
  side: 1 | -1,
): Explained | null {
  const { period } = pattern;
  // patterns that tell each place of a cycle apart are weighed by one place against all others
  const levels = pattern.levels === period ? Math.min(2, period) : pattern.levels;
  if (levels < 2) return null;
  let best: Explained | null = null;
  for (let phase = 0; phase < period; phase++) {
    const level = Int8Array.from(ticks, ({ index }) => {
      return Math.min(levels - 1, levelAt(pattern, phase, index));
    });
    if (level.filter((l) => l === 0).length < LEAST_LONGEST) continue;
    const found = walk(strips, level, levels);
    const score = found.score - 2 * Math.log(period) - CHARGE * (levels - 1);
    if (score > (best?.score ?? -Infinity)) best = { ...found, score, pattern, side, phase };
  }
  return best;
}

/** From strip to strip inwards, as many lengths as explain most: never more than in the strip before. */
function walk(
  strips: readonly Strip[],
  level: Int8Array,
  levels: number,
): Pick<Explained, 'score' | 'evidence' | 'reachesPx'> {
  // state k: ticks of the k longest lengths reach here; none and all are alike
  let states = Array.from({ length: levels + 1 }, (_, k) => ({
    score: k === levels ? 0 : -Infinity,
    evidence: new Array<number>(levels - 1).fill(0),
    reachesPx: new Array<number>(levels).fill(0),
  }));
  for (const strip of strips) {
    const gains = gainsOf(strip, level, levels);
    let before = states[levels]!;
    const next = [...states];
    for (let k = levels; k >= 0; k--) {
      if (states[k]!.score > before.score) before = states[k]!;
      const gain = gains[k] ?? 0;
      next[k] = {
        score: before.score + gain,
        evidence: before.evidence.map((v, l) => (l === k - 1 ? v + gain : v)),
        // past their end no strip tells them from none
        reachesPx: before.reachesPx.map((v, l) => (l < k && (gain > 0 || k === levels) ? strip.reachPx : v)),
      };
    }
    states = next;
  }
  return states.reduce((p, q) => (q.score > p.score ? q : p));
}

/** 2 ln(odds) that in a strip the ticks of the k longest lengths stand out, for each k but none and all. */
function gainsOf({ values, squares, mean }: Strip, level: Int8Array, levels: number): number[] {
  const sums = new Float64Array(levels);
  const counts = new Float64Array(levels);
  let n = 0;
  for (let t = 0; t < values.length; t++) {
    const v = values[t]!;
    if (Number.isNaN(v)) continue;
    sums[level[t]!]! += v;
    counts[level[t]!]!++;
    n++;
  }
  const gains = new Array<number>(levels + 1).fill(0);
  let sum = 0;
  let count = 0;
  for (let k = 1; k < levels; k++) {
    sum += sums[k - 1]!;
    count += counts[k - 1]!;
    if (count < LEAST_LONGEST || n - count < LEAST_LONGEST) continue;
    const reach = sum / count;
    const rest = (n * mean - sum) / (n - count);
    if (reach < THERE || reach <= rest) continue;
    const explained = ((reach - rest) ** 2 * count * (n - count)) / n;
    gains[k] = n * Math.log(squares / Math.max(1e-9, squares - explained));
  }
  return gains;
}

/** As single ticks would have told it; no better than the least that is believed of these. */
function graduationOf(run: TickRun, explained: Explained, evidence: number): NamedGraduation {
  const { ticks } = run;
  const { pattern, phase, side } = explained;
  const shortest = Math.max(1, beginOf(run.ticks, side));
  const [longest, second] = [explained.reachesPx[0]!, Math.max(explained.reachesPx[1]!, shortest)];
  // numbers below the longest show where these are, but not which way they point
  const end = Math.min(longest, LONGEST_OF_SECOND * (second + shortest) - shortest);
  const reachesPx = [end, ...explained.reachesPx.slice(1)].map((v) => Math.max(v, shortest));
  const levels = ticks.map(({ index }) => levelAt(pattern, phase, index));
  return {
    key: pattern.key as GraduationKey,
    phase,
    reachesPx,
    levels,
    agreement: 0.5,
    separation: 1,
    margin: Math.min(1, evidence / 200),
    majors: levels.filter((l) => l === 0).length,
  };
}
