import { medianOf } from './readTicks.ts';

/** Graduations told apart. The pitch is that of the shortest ticks seen. */
export const GRADUATIONS = {
  metric: { pitchMm: 1, period: 10, unit: 'metric' },
  'inch-16': { pitchMm: 25.4 / 16, period: 16, unit: 'inch' },
  'inch-8': { pitchMm: 25.4 / 8, period: 8, unit: 'inch' },
  'inch-4': { pitchMm: 25.4 / 4, period: 4, unit: 'inch' },
} as const;
export type GraduationKey = keyof typeof GRADUATIONS;

/**
 * What a run could be whose ticks are all alike or long and short in turn: a shape that scales of both units
 * have, so that none of them may be measured with.
 */
export const POSSIBLE_GRADUATIONS = {
  even: [
    { pitchMm: 10, unit: 'metric' },
    { pitchMm: 25.4 / 4, unit: 'inch' },
  ],
  alternate: [
    { pitchMm: 5, unit: 'metric' },
    { pitchMm: 25.4 / 2, unit: 'inch' },
  ],
} as const;

export interface NamedGraduation {
  key: GraduationKey;
  /** Index (modulo the period) of the longest ticks. */
  phase: number;
  /** Typical reach of each level, longest first, px. */
  reachesPx: number[];
  /** Level (0 = longest) of each tick given. */
  levels: number[];
  /** Share of ticks whose length is that of their level. */
  agreement: number;
  /** Smallest distance between neighbouring levels, in standard deviations of a tick's length. */
  separation: number;
  /** How much worse the best different explanation fits (mean squared deviations, capped). */
  margin: number;
  /** Longest ticks seen. */
  majors: number;
}

export interface Pattern {
  key: string;
  period: number;
  /** Level of each index modulo the period; level 0 is the longest. */
  levelOf(m: number): number;
  levels: number;
  /** Longer ticks nest like those of ours, so it counts only where its levels differ. */
  nested?: boolean;
}

const MIN_SEPARATION = 1.5;
/** Least step between neighbouring levels as a share of the usual step: numerals blur the longest by less. */
const MIN_GAP = 0.25;
/** A pattern that explains the lengths this much better speaks against ours even where its levels blur. */
const MUCH_BETTER = 0.4;

const twos = (m: number, period: number): number => {
  if (m === 0) return 0;
  let level = 0;
  for (let p = period / 2; p >= 1; p /= 2) {
    level++;
    if (m % p === 0) return level;
  }
  return level;
};

/** What a maker's rulers carry (common practice). */
export const PATTERNS: Record<GraduationKey, Pattern> = {
  metric: { key: 'metric', period: 10, levels: 3, levelOf: (m) => (m === 0 ? 0 : m === 5 ? 1 : 2) },
  'inch-16': { key: 'inch-16', period: 16, levels: 5, levelOf: (m) => twos(m, 16) },
  'inch-8': { key: 'inch-8', period: 8, levels: 4, levelOf: (m) => twos(m, 8) },
  'inch-4': { key: 'inch-4', period: 4, levels: 3, levelOf: (m) => twos(m, 4) },
};

/** Other repeating patterns, so that what is not one of ours is recognised as something else. */
export const OTHERS: Pattern[] = [
  { key: 'inch-32', period: 32, levels: 6, levelOf: (m) => twos(m, 32), nested: true },
  {
    key: 'half-mm',
    period: 20,
    levels: 4,
    nested: true,
    levelOf: (m) => (m === 0 ? 0 : m === 10 ? 1 : m % 2 === 0 ? 2 : 3),
  },
  { key: 'even', period: 1, levels: 1, levelOf: () => 0 },
  { key: 'fives', period: 5, levels: 2, levelOf: (m) => (m === 0 ? 0 : 1) },
  ...[2, 3, 4, 6, 7, 9, 11, 12, 13, 14, 15].map((period) => ({
    key: `period-${period}`,
    period,
    levels: period,
    levelOf: (m: number) => m,
  })),
];

interface Fit {
  cost: number;
  phase: number;
  centres: number[];
  /** Spread within each level, as a standard deviation. */
  spreads: number[];
  sizes: number[];
  /** Reaches were cut to this. */
  cap: number;
}

/**
 * Levels rise by steps of much the same size; a step more than twice the usual one is a numeral that
 * touches the tick. What lies above is cut to the usual step, so that numerals name no levels.
 */
function numeralCap(centres: number[], sigma: number): number {
  const steps: number[] = [];
  for (let l = centres.length - 1; l > 0; l--) {
    const step = centres[l - 1]! - centres[l]!;
    const usual = steps.length ? medianOf(steps) : Infinity;
    if (step < 1.2 * sigma) return Infinity;
    if (step > 2 * usual && l <= 2) return centres[l]! + 1.5 * usual;
    steps.push(step);
  }
  return Infinity;
}

function fit(
  pattern: Pattern,
  index: number[],
  reach: number[],
  sigma: number,
  givenCap: number | null = null,
): Fit | null {
  const n = index.length;
  let best: Fit | null = null;
  const phases = pattern.levels === pattern.period ? 1 : pattern.period;
  for (let phase = 0; phase < phases; phase++) {
    const groups: number[][] = Array.from({ length: pattern.levels }, () => []);
    for (let i = 0; i < n; i++) {
      const m = (((index[i]! - phase) % pattern.period) + pattern.period) % pattern.period;
      groups[pattern.levelOf(m)]!.push(reach[i]!);
    }
    const levelled = pattern.levels !== pattern.period;
    if (groups.some((g) => g.length === 0) && levelled) continue;
    let cost = 0;
    let centres = groups.map((g) => (g.length ? medianOf(g) : NaN));
    // levels are named by length: a longer one below a shorter is another phase of the same pattern
    if (levelled && centres.some((c, l) => l > 0 && c > centres[l - 1]!)) continue;
    const cap = givenCap ?? (levelled ? numeralCap(centres, sigma) : Infinity);
    if (cap < Infinity) {
      groups.forEach((g) => g.forEach((v, i) => (g[i] = Math.min(v, cap))));
      centres = groups.map((g) => medianOf(g));
    }
    groups.forEach((g, level) => {
      for (const v of g) cost += Math.min(25, ((v - centres[level]!) / sigma) ** 2);
    });
    // each level's centre is free: the usual charge for a parameter (Schwarz, 1978)
    cost = (cost + pattern.levels * Math.log(n)) / n;
    if (!best || cost < best.cost) {
      const spreads = groups.map((g, l) => 1.4826 * medianOf(g.map((v) => Math.abs(v - centres[l]!))));
      best = { cost, phase, centres, spreads, sizes: groups.map((g) => g.length), cap };
    }
  }
  return best;
}

/**
 * Says which graduation a run of ticks has, from how far they reach (indices are consecutive ticks);
 * null where the lengths do not single out one. Pixel sizes play no part, so that inches are never
 * taken for millimetres because the picture happens to be near or far.
 *
 * @example // 1 mm, 5 mm and 10 mm ticks of 3, 5 and 7 px, 40 of them, are 'metric'
 */
export function nameGraduation(index: number[], reach: number[]): NamedGraduation | null {
  const n = index.length;
  if (n < 13) return null;
  const sorted = [...reach].sort((a, b) => a - b);
  const spread = sorted[Math.floor(0.95 * (n - 1))]! - sorted[Math.floor(0.05 * (n - 1))]!;
  if (!(spread > 1.5)) return null;
  const floor = Math.max(0.6, 0.04 * spread);

  // the noise of one tick's length, from the pattern that explains most for its number of levels (Schwarz, 1978)
  const keys = Object.keys(PATTERNS) as GraduationKey[];
  const likeliest = keys
    .map((key) => ({ key, fit: fit(PATTERNS[key], index, reach, Math.max(floor, 0.1 * spread)) }))
    .filter((f): f is { key: GraduationKey; fit: Fit } => f.fit !== null)
    .map(({ key, fit: own }) => {
      // not from the longest, which numerals lengthen
      const residuals = index
        .map((k, i) => ({
          level: levelAt(PATTERNS[key], own, k),
          off: Math.abs(reach[i]! - centreOf(PATTERNS[key], own, k)),
        }))
        .filter(({ level }) => level > 0)
        .map(({ off }) => off);
      const noise = Math.max(floor, 1.4826 * medianOf(residuals), 0.6 * quantile(residuals, 0.85));
      return { noise, cost: 2 * n * Math.log(noise) + PATTERNS[key].levels * Math.log(n) };
    })
    .sort((a, b) => a.cost - b.cost)[0];
  if (!likeliest) return null;
  const sigma = likeliest.noise;
  // a pattern whose levels cannot be told apart is only a coarser pattern under another name
  const distinct = (f: Fit): number => {
    const gaps = f.centres.slice(1).map((c, l) => f.centres[l]! - c);
    const least = Math.min(...gaps);
    if (least < MIN_GAP * medianOf(gaps)) return 0;
    // a level whose ticks scatter is distinct when its middle is, by three standard errors of a median
    const significance = gaps.map((g, l) => {
      const error = (m: number): number => (1.25 * Math.max(sigma, f.spreads[m]!)) / Math.sqrt(f.sizes[m]!);
      return g / Math.hypot(error(l), error(l + 1));
    });
    return Math.min(...significance) > 3 ? least / sigma : 0;
  };
  // each pattern is held against all others on lengths cut where it says numerals begin
  const claims = [...keys.map((key) => PATTERNS[key]), ...OTHERS.filter((o) => o.nested)]
    .map((own) => ({ own, key: own.key as GraduationKey, fit: fit(own, index, reach, sigma) }))
    .filter(
      (f): f is { own: Pattern; key: GraduationKey; fit: Fit } =>
        f.fit !== null && distinct(f.fit) > MIN_SEPARATION,
    )
    .map((claim) => ({ ...claim, margin: rivalCost(claim.own, claim.fit) - claim.fit.cost }))
    .filter((claim) => claim.margin > 0)
    // of nested patterns that both hold, the one with more levels explains what the other cuts away
    .sort((a, b) => b.fit.centres.length - a.fit.centres.length);
  function rivalCost(own: Pattern, best: Fit): number {
    let least = Infinity;
    for (const key of keys) {
      const f = key === own.key ? null : fit(PATTERNS[key], index, reach, sigma, best.cap);
      if (f && (distinct(f) > MIN_SEPARATION || f.cost < best.cost - MUCH_BETTER))
        least = Math.min(least, f.cost);
    }
    for (const other of OTHERS) {
      const f = other === own ? null : fit(other, index, reach, sigma, best.cap);
      if (!f) continue;
      if (!other.nested || distinct(f) > MIN_SEPARATION || f.cost < best.cost - MUCH_BETTER)
        least = Math.min(least, f.cost);
    }
    return least;
  }
  const best = claims[0];
  // a graduation that nests like ours but is none of them is known, and not read
  if (!best || !(best.key in PATTERNS)) return null;
  const pattern = PATTERNS[best.key];
  const centres = best.fit.centres;
  const separation = distinct(best.fit);
  const margin = best.margin;

  const levels: number[] = [];
  let agree = 0;
  const agreePerLevel = centres.map(() => ({ yes: 0, all: 0 }));
  index.forEach((k, i) => {
    const m = (((k - best.fit.phase) % pattern.period) + pattern.period) % pattern.period;
    const level = pattern.levelOf(m);
    levels.push(level);
    const length = Math.min(reach[i]!, best.fit.cap);
    let nearest = 0;
    for (let l = 1; l < centres.length; l++)
      if (Math.abs(centres[l]! - length) < Math.abs(centres[nearest]! - length)) nearest = l;
    agreePerLevel[level]!.all++;
    if (nearest === level) {
      agree++;
      agreePerLevel[level]!.yes++;
    }
  });
  if (agreePerLevel.some((a) => a.yes < 0.6 * a.all)) return null;
  const majors = agreePerLevel[0]!.yes;
  return {
    key: best.key,
    phase: best.fit.phase,
    reachesPx: centres,
    levels,
    agreement: agree / n,
    separation,
    margin,
    majors,
  };
}

function levelAt(pattern: Pattern, f: Fit, index: number): number {
  return pattern.levelOf((((index - f.phase) % pattern.period) + pattern.period) % pattern.period);
}

const centreOf = (pattern: Pattern, f: Fit, index: number): number => f.centres[levelAt(pattern, f, index)]!;

function quantile(values: number[], q: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(q * (sorted.length - 1))]!;
}
