import type { GrayImage } from '../../types.ts';
import { evenSpectra } from './evenSpectra.ts';
import { sampleLine } from './sampleLine.ts';
import { fitPolynomial } from './straightenBand.ts';
import { robustPolynomial, type TapeStrip } from './tapeStrip.ts';

/** Marks that repeat along a tape, all of them together. */
export interface Comb {
  /** Number of the mark at a place along, in fractions; its slope is positive. */
  indexAt(alongPx: number): number;
  /** How far marks lean: px along for each px across. */
  leanAt(alongPx: number): number;
  /** Mean px from mark to mark. */
  pitchPx: number;
  /** Power of the repetition against what lies around it in the spectrum. */
  clearness: number;
  /** One period as all of them show it: rows across by `BINS` along, 0 = the tape's mean. */
  pattern: Float64Array[];
  /** Variance of a single sample about the pattern, by row. */
  noise: Float64Array;
  /** Samples that each bin of a row is the mean of, on average. */
  perBin: number;
  windows: CombWindow[];
  /** Harmonics of two periods taken for one (`harmonicsOf`): where the odd ones are strong, every other mark is of another kind. */
  twice: number[];
}

/** A stretch of a few marks, placed by all that its rows show. */
export interface CombWindow {
  alongPx: number;
  /** Where the pattern lies against `indexAt`, in marks, at `acrossPx`, and how far it still leans, px for each px. */
  offset: number;
  acrossPx: number;
  lean: number;
  /** Standard uncertainties, px and px for each px, as the windows scatter. */
  sigmaPx: number;
  leanSigma: number;
  /** How much of what varies there the pattern explains, 0…1. */
  share: number;
}

export const BINS = 40;
/** Pitches looked for, in widths of the tape: from half of a narrow tape's centimetres to a wide one's inches. */
const PITCHES = [0.3, 2.4] as const;
const LEAST_COUNT = 7;
/** Pitch at one end ÷ at the other, natural logarithm. */
const MOST_RATIO = 0.9;
const LEAST_CLEARNESS = 6;
const LOBE = 2;
const SAME = 0.035;
const MOST_FOUND = 6;
const MOST_GROUPS = 20;
/** Shortest window, marks and px. */
const WINDOW_MARKS = 3;
const WINDOW_PX = 60;
const ROUNDS = 4;

/** Rows along a straightened tape, without its slow changes, in units of what is usual there. */
interface Rows {
  data: Float64Array[];
  across: number[];
  columns: number;
}

/**
 * Finds what repeats along a tape that was straightened, however faint: a hundred marks add up to one sharp line in the
 * spectrum. Each repetition is then followed along the tape by the pattern that all its marks have in common.
 *
 * @returns clearest first
 */
export function combsAlong(
  gray: GrayImage,
  strip: TapeStrip,
  mayBe: (pitchOfWidth: number) => boolean = () => true,
): Comb[] {
  const rows = rowsOf(gray, strip);
  if (rows.columns < 64) return [];
  return repetitions(rows, strip.widthPx)
    .filter((r) => mayBe(rows.columns / r.count / strip.widthPx))
    .flatMap((r) => followComb(rows, r) ?? []);
}

function rowsOf(gray: GrayImage, strip: TapeStrip): Rows {
  const columns = Math.floor(strip.lengthPx);
  const count = Math.max(8, Math.round(0.92 * strip.widthPx));
  const across = Array.from({ length: count }, (_, r) => strip.widthPx * 0.92 * ((r + 0.5) / count - 0.5));
  const reach = Math.round(1.6 * strip.widthPx);
  const one = new Float64Array(1);
  const data = across.map((v) => {
    const row = new Float64Array(columns);
    let last = 0;
    for (let i = 0; i < columns; i++) {
      const p = strip.place(i + 0.5, v);
      sampleLine(gray, p.x, p.y, 0, 0, 1, one);
      row[i] = Number.isNaN(one[0]!) ? last : (last = one[0]!);
    }
    return flattened(row, reach);
  });
  return { data, across, columns };
}

/** A row less its mean nearby, in units of its usual size, without outliers. */
function flattened(row: Float64Array, reach: number): Float64Array {
  const n = row.length;
  const before = new Float64Array(n + 1);
  for (let i = 0; i < n; i++) before[i + 1] = before[i]! + row[i]!;
  const out = row.map((v, i) => {
    const a = Math.max(0, i - reach);
    const b = Math.min(n, i + reach + 1);
    return v - (before[b]! - before[a]!) / (b - a);
  });
  const usual = [...out].map(Math.abs).sort((p, q) => p - q)[n >> 1]! + 1e-4;
  return out.map((v) => Math.max(-4, Math.min(4, v / usual)));
}

interface Repetition {
  count: number;
  bend: number;
  clearness: number;
}

function repetitions({ data, columns }: Rows, widthPx: number): Repetition[] {
  const size = 2 ** Math.ceil(Math.log2(1.5 * columns));
  const padding = size / columns;
  const low = Math.max(
    Math.ceil(LEAST_COUNT * padding),
    Math.floor((columns / (PITCHES[1] * widthPx)) * padding),
  );
  const high = Math.min(size / 2 - 2, Math.ceil((columns / (PITCHES[0] * widthPx)) * padding));
  if (high <= low + 4) return [];
  const spectraAt = evenSpectra(columns, size);
  // a few rows together are enough to find what repeats
  const each = Math.max(2, Math.ceil(data.length / MOST_GROUPS));
  const groups = Array.from({ length: Math.floor(data.length / each) }, (_, k) =>
    Float64Array.from({ length: columns }, (_, i) => {
      let sum = 0;
      for (let r = k * each; r < (k + 1) * each; r++) sum += data[r]![i]!;
      return sum;
    }),
  );
  const most = Math.min(high, size / 2 - 1);
  const step = Math.min(0.06, 1.6 / Math.max(20, columns / widthPx));
  const peaks: Repetition[] = [];
  const sum = new Float64Array(size / 2);
  for (let bend = -MOST_RATIO; bend <= MOST_RATIO; bend += step) {
    const spectrumOf = spectraAt(bend);
    sum.fill(0);
    for (const row of groups) {
      const spectrum = spectrumOf(row);
      if (!spectrum) continue;
      const unit = 1 / spectrum.squares;
      for (let k = 1; k <= Math.min(size / 2 - 1, Math.ceil(1.5 * most)); k++)
        sum[k]! += spectrum.powerAt(k) * unit;
    }
    for (let k = low; k <= high; k++) {
      const p = sum[k]!;
      if (p < sum[k - 1]! || p < sum[k + 1]!) continue;
      const clearness = p / meanBeside(sum, k, Math.ceil(LOBE * padding), Math.ceil(1.5 * most));
      if (clearness >= LEAST_CLEARNESS) peaks.push({ count: k / padding, bend, clearness });
    }
  }
  peaks.sort((p, q) => q.clearness - p.clearness);
  const kept: Repetition[] = [];
  for (const p of peaks) {
    if (kept.length >= MOST_FOUND) break;
    if (kept.every((q) => Math.abs(Math.log(p.count / q.count)) > SAME)) kept.push(p);
  }
  return kept;
}

function meanBeside(power: Float64Array, at: number, lobe: number, end: number): number {
  let sum = 0;
  let n = 0;
  const to = Math.min(end, Math.max(Math.round(1.4 * at), at + 3 * lobe));
  for (let k = Math.max(1, Math.min(Math.round(0.7 * at), at - 3 * lobe)); k < to; k++) {
    if (Math.abs(k - at) <= lobe) continue;
    sum += power[k]!;
    n++;
  }
  return sum / Math.max(1, n) + 1e-9;
}

interface Course {
  index(alongPx: number): number;
  slope(alongPx: number): number;
  lean(alongPx: number): number;
}

function followComb(rows: Rows, { count, bend, clearness }: Repetition): Comb | null {
  const { columns } = rows;
  const g = Math.exp(bend / 2) - 1;
  let index = (s: number): number => (count * (1 + g) * (s / columns)) / (1 + (g * s) / columns);
  let lean = (_: number): number => 0;
  const pitchPx = columns / count;
  const lengthPx = Math.max(WINDOW_PX, WINDOW_MARKS * pitchPx);
  const stepPx = lengthPx / 2;
  let folded: Folded | null = null;
  let windows: CombWindow[] = [];
  for (let round = 0; round < ROUNDS; round++) {
    const own = index;
    const ownLean = lean;
    const course: Course = { index: own, slope: (s) => (own(s + 1) - own(s - 1)) / 2, lean: ownLean };
    // a pattern that is not yet laid well on itself is looked at without its details
    folded = fold(rows, course, windows);
    windows = [];
    for (let s = lengthPx / 2; s < columns - lengthPx / 2; s += stepPx) {
      const w = placeWindow(rows, course, folded, s, lengthPx, round === 0 ? 0.5 : 0.2);
      if (w) windows.push(w);
    }
    windows = fitting(windows, stepPx);
    const good = windows;
    if (good.length < 4) return null;
    if (round === ROUNDS - 1) break;
    const degree = Math.min(round === 0 ? 2 : 4, Math.floor(good.length / 4));
    const at = good.map((w) => w.alongPx);
    const shift = robustPolynomial(
      at,
      good.map((w) => w.offset),
      degree,
    );
    index = (s) => own(s) - shift(s);
    if (round > 0) {
      const turn = robustPolynomial(
        at,
        good.map((w) => w.lean),
        Math.min(2, Math.floor(good.length / 4)),
      );
      lean = (s) => ownLean(s) + turn(s);
    }
  }
  scatter(windows, pitchPx);
  return {
    indexAt: index,
    leanAt: lean,
    pitchPx: columns / (index(columns) - index(0)),
    clearness,
    pattern: folded!.pattern,
    noise: folded!.noise,
    perBin: folded!.perBin,
    windows,
    twice: harmonicsOf(fold(rows, { index: (s) => index(s) / 2, slope: () => 0, lean }, windows)),
  };
}

/** Share of what the best of them explain, from which on windows show the same marks. */
const LEAST_OF_BEST = 0.4;
/** Windows without the marks that are passed over: a finger, a crease. */
const MOST_GAP = 4;

/**
 * The longest stretch of windows that show the pattern: a tape's end may be folded back and show its other side, and what
 * is beyond its end shows nothing.
 */
export function fitting(windows: readonly CombWindow[], stepPx: number): CombWindow[] {
  if (windows.length === 0) return [];
  const sorted = windows.map((w) => w.share).sort((p, q) => q - p);
  const best = sorted[Math.floor(sorted.length / 4)]!;
  const good = windows.filter((w) => w.share > Math.max(0.05, LEAST_OF_BEST * best));
  const stretches: CombWindow[][] = [];
  for (const w of good) {
    const last = stretches[stretches.length - 1];
    if (last && w.alongPx - last[last.length - 1]!.alongPx < (MOST_GAP + 0.5) * stepPx) last.push(w);
    else stretches.push([w]);
  }
  return stretches.reduce((a, b) => (b.length > a.length ? b : a), []);
}

/** px of one window: they overlap by half. */
const lengthOf = (windows: readonly CombWindow[]): number =>
  2 * Math.min(...windows.slice(1).map((w, i) => w.alongPx - windows[i]!.alongPx));

interface Folded {
  pattern: Float64Array[];
  noise: Float64Array;
  /** What each row counts for: rows of numbers differ from one ten to the next, all marks of it alike. */
  weights: Float64Array;
  perBin: number;
}

/** Parts of a tape whose patterns are held against each other: about ten marks each, so that tens and lengths of numbers change. */
const MOST_PARTS = 8;
const PART_MARKS = 8;
const PART_BINS = 20;

/** All periods laid on each other; where windows are known, only those that fit. */
function fold(rows: Rows, course: Course, windows: readonly CombWindow[]): Folded {
  const { data, across, columns } = rows;
  const usable = new Uint8Array(columns).fill(windows.length > 0 ? 0 : 1);
  if (windows.length > 1) {
    const half = lengthOf(windows) / 2;
    for (const w of windows)
      usable.fill(
        1,
        Math.max(0, Math.floor(w.alongPx - half)),
        Math.min(columns, Math.ceil(w.alongPx + half)),
      );
  }
  const used = usable.reduce((s, v) => s + v, 0);
  const first = usable.indexOf(1);
  const last = usable.lastIndexOf(1);
  const marks = course.index(last) - course.index(first);
  const parts = Math.max(1, Math.min(MOST_PARTS, Math.floor(marks / PART_MARKS)));
  const pattern: Float64Array[] = [];
  const noise = new Float64Array(data.length);
  const weights = new Float64Array(data.length);
  data.forEach((row, r) => {
    const sum = new Float64Array(BINS);
    const weight = new Float64Array(BINS);
    const partSum = new Float64Array(parts * PART_BINS);
    const partCount = new Float64Array(parts * PART_BINS);
    let squares = 0;
    for (let i = first; i <= last; i++) {
      if (!usable[i]) continue;
      const share = phaseOf(course, i + 0.5, across[r]!);
      const phase = share * BINS;
      const low = Math.floor(phase) % BINS;
      const part = phase - Math.floor(phase);
      sum[low]! += (1 - part) * row[i]!;
      weight[low]! += 1 - part;
      const next = (low + 1) % BINS;
      sum[next]! += part * row[i]!;
      weight[next]! += part;
      squares += row[i]! ** 2;
      const at = Math.min(parts - 1, Math.floor(((i - first) * parts) / (last - first + 1)));
      const k = at * PART_BINS + (Math.floor(share * PART_BINS) % PART_BINS);
      partSum[k]! += row[i]!;
      partCount[k]!++;
    }
    const own = sum.map((v, b) => v / Math.max(0.5, weight[b]!));
    const mean = own.reduce((s, v) => s + v, 0) / BINS;
    for (let b = 0; b < BINS; b++) own[b]! -= mean;
    pattern.push(own);
    noise[r] = Math.max(0.05, squares / Math.max(1, used) - own.reduce((s, v) => s + v * v, 0) / BINS);
    weights[r] = 1 / (noise[r]! + PART_MARKS * changing(partSum, partCount, parts, noise[r]!));
  });
  return { pattern, noise, weights, perBin: used / BINS };
}

/** Variance among the patterns of several parts, beyond what noise makes of it. */
function changing(sums: Float64Array, counts: Float64Array, parts: number, noise: number): number {
  if (parts < 3) return 0;
  let total = 0;
  let n = 0;
  for (let b = 0; b < PART_BINS; b++) {
    const seen: number[] = [];
    let chance = 0;
    for (let p = 0; p < parts; p++) {
      const count = counts[p * PART_BINS + b]!;
      if (count < 2) continue;
      seen.push(sums[p * PART_BINS + b]! / count);
      chance += noise / count;
    }
    if (seen.length < 3) continue;
    const mean = seen.reduce((s, v) => s + v, 0) / seen.length;
    total += seen.reduce((s, v) => s + (v - mean) ** 2, 0) / (seen.length - 1) - chance / seen.length;
    n++;
  }
  return n > 0 ? Math.max(0, total / n) : 0;
}

/** Which part of a mark's period a place shows, 0…1. */
function phaseOf(course: Course, along: number, across: number): number {
  const n = course.index(along - course.lean(along) * across);
  return n - Math.floor(n);
}

/** Where a window's marks lie against the pattern: first among all places, then by least squares, with their lean. */
function placeWindow(
  rows: Rows,
  course: Course,
  { pattern, weights: rowWeights }: Folded,
  middle: number,
  lengthPx: number,
  most: number,
): CombWindow | null {
  const from = Math.max(0, Math.round(middle - lengthPx / 2));
  const to = Math.min(rows.columns, Math.round(middle + lengthPx / 2));
  const slope = course.slope(middle);
  const weights = pattern.map((p, r) => p.reduce((s, v) => s + v * v, 0) * rowWeights[r]!);
  const total = weights.reduce((s, v) => s + v, 0);
  const acrossPx = rows.across.reduce((s, v, r) => s + weights[r]! * v, 0) / total;
  const columns = to - from;
  const phases = rows.across.map((across) =>
    Float64Array.from({ length: columns }, (_, i) => BINS * phaseOf(course, from + i + 0.5, across)),
  );
  let start = 0;
  if (most > 0.3) {
    let best = -Infinity;
    for (let o = -10; o < 10; o++) {
      const shift = o / 20;
      let score = 0;
      for (let r = 0; r < pattern.length; r += 2) {
        const row = rows.data[r]!;
        const phase = phases[r]!;
        let sum = 0;
        for (let i = 0; i < columns; i += 2)
          sum += row[from + i]! * pattern[r]![binOf(phase[i]! - BINS * shift)]!;
        score += sum * rowWeights[r]!;
      }
      if (score > best) [best, start] = [score, shift];
    }
  }
  let offset = start;
  let lean = 0;
  let share = 0;
  let normal: [number, number, number] = [0, 0, 0];
  for (let round = 0; round < 3; round++) {
    let [n0, n1, n2, b0, b1, explained, power, own] = [0, 0, 0, 0, 0, 0, 0, 0];
    // pattern and data first, then least squares about the pattern at the data's own contrast
    for (let r = 0; r < pattern.length; r++) {
      const row = rows.data[r]!;
      const p = pattern[r]!;
      const phase = phases[r]!;
      const w = rowWeights[r]!;
      const arm = (rows.across[r]! - acrossPx) * slope;
      const moved = BINS * (offset + lean * arm);
      let [dd, dx, dp, xx, xp, pp] = [0, 0, 0, 0, 0, 0];
      for (let i = 0; i < columns; i++) {
        const at = phase[i]! - moved;
        const k = Math.floor(at);
        const part = at - k;
        const low = p[((k % BINS) + BINS) % BINS]!;
        const high = p[(((k + 1) % BINS) + BINS) % BINS]!;
        const v = low + part * (high - low);
        const d = BINS * (low - high);
        const x = row[from + i]!;
        dd += d * d;
        dx += d * x;
        dp += d * v;
        xx += x * x;
        xp += x * v;
        pp += v * v;
      }
      explained += w * xp;
      own += w * pp;
      power += w * xx;
      n0 += w * dd;
      n1 += w * dd * arm;
      n2 += w * dd * arm * arm;
      // the contrast is that of the whole pattern, which is as good as one
      b0 += w * (dx - dp);
      b1 += w * (dx - dp) * arm;
    }
    if (!(own > 0)) return null;
    const contrast = Math.max(0.3, Math.min(2, explained / own));
    share = explained > 0 ? explained ** 2 / (own * power) : 0;
    // a lean of more than a third is none; what little is known of it counts with that
    n2 += LEAN_PRIOR;
    b1 -= LEAN_PRIOR * lean;
    const det = n0 * n2 - n1 * n1;
    if (!(det > 0)) return null;
    offset += clamp((n2 * b0 - n1 * b1) / det / contrast, 0.1);
    lean += clamp((n0 * b1 - n1 * b0) / det / contrast, 0.1);
    normal = [n0, n1, n2];
  }
  if (Math.abs(offset) > most) return null;
  const det = normal[0] * normal[2] - normal[1] ** 2;
  return {
    alongPx: middle,
    offset,
    acrossPx,
    lean,
    sigmaPx: Math.sqrt(normal[2] / det) / slope,
    leanSigma: Math.sqrt(normal[0] / det),
    share,
  };
}

const LEAN_PRIOR = 1 / 0.15 ** 2;
const clamp = (v: number, most: number): number => Math.max(-most, Math.min(most, v));
const binOf = (at: number): number => ((Math.round(at) % BINS) + BINS) % BINS;

/** Pixels next to each other share their blur and their noise: uncertainties are widened to how the windows scatter. */
function scatter(windows: CombWindow[], pitchPx: number): void {
  if (windows.length < 6) return;
  const widen = (value: (w: CombWindow) => number, sigma: (w: CombWindow) => number): number => {
    const x = windows.map((w) => w.alongPx);
    const at = fitPolynomial(x, windows.map(value), Math.min(4, Math.floor(windows.length / 4)));
    const ratio = windows.map((w) => Math.abs(value(w) - at(w.alongPx)) / sigma(w)).sort((p, q) => p - q);
    return Math.max(1, 1.4826 * ratio[ratio.length >> 1]!);
  };
  const along = widen(
    (w) => w.offset * pitchPx,
    (w) => w.sigmaPx,
  );
  const leaning = widen(
    (w) => w.lean,
    (w) => w.leanSigma,
  );
  for (const w of windows) {
    w.sigmaPx *= along;
    w.leanSigma *= leaning;
  }
}

/** Power of each harmonic of a pattern, 1 to 16, against what noise gives it. */
export function harmonicsOf({
  pattern,
  noise,
  perBin,
}: Pick<Comb, 'pattern' | 'noise' | 'perBin'>): number[] {
  return Array.from({ length: 16 }, (_, k) => {
    const turn = (2 * Math.PI * (k + 1)) / BINS;
    let power = 0;
    pattern.forEach((row, r) => {
      let a = 0;
      let b = 0;
      row.forEach((v, i) => {
        a += v * Math.cos(turn * i);
        b += v * Math.sin(turn * i);
      });
      power += ((a * a + b * b) * perBin) / (BINS * noise[r]!);
    });
    return power / pattern.length;
  });
}
