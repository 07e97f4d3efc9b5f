import type { RulerBody } from '../../sight/rulerBodies.ts';
import type { GrayImage, Point } from '../../types.ts';
import { evenSpectra } from './evenSpectra.ts';
import type { BandStretch, FollowedBand } from './followBand.ts';
import { sampleLine } from './sampleLine.ts';

/** Marks that repeat from one end of a ruler or tape to the other. */
export interface MarksAlong {
  /** Decoded px. */
  band: FollowedBand;
  /** How many of them there are along the body. */
  count: number;
  /** Power of the repetition against what lies around it in the spectrum. */
  clearness: number;
}

/** Rows looked at across the body and a little beyond what the network sees of it, and samples along each. */
const ROWS = 24;
const BEYOND = 1.1;
const MOST_COLUMNS = 2048;
/** Pitch at one end ÷ at the other, natural logarithm: how steeply a camera looks along a ruler. */
const MOST_RATIO = 1.08;
const RATIO_STEP = 0.03;
/** Fewest marks along the body, and the closest, px. */
const LEAST_COUNT = 7;
const LEAST_PITCH_PX = 2.25;
/** Share of a row's variation, and times the power around it, from which on something repeats. */
const LEAST_SHARE = 0.04;
const LEAST_CLEARNESS = 25;
/** Half the width of a line under the window, cycles. */
const LOBE = 2;
/** Frequencies this near to each other (natural logarithm) are one. */
const SAME = 0.04;
const MOST_FOUND = 10;
const STRETCHES = 13;

/**
 * Looks for marks that repeat along the whole of a ruler or tape. A straight scale before a camera has
 * them at n = a s ÷ (1 + g s), which one number g bends: laid out so that they are even, thirty blurred centimetres or
 * three hundred faint millimetres add up to one sharp line in the spectrum, where a few at a time show nothing.
 *
 * @returns clearest first; several rows and several distances between marks
 */
export function marksAlongBody(gray: GrayImage, body: RulerBody): MarksAlong[] {
  const columns = Math.min(MOST_COLUMNS, Math.round(body.lengthPx));
  if (columns < 64) return [];
  const rows = Array.from({ length: ROWS }, (_, r) => rowAlong(gray, body, acrossOf(r), columns));
  const size = 2 ** Math.ceil(Math.log2(2 * columns));
  const spectraAt = evenSpectra(columns, size);
  const power = new Float64Array(size / 2);
  const padding = size / columns;
  const low = Math.ceil(LEAST_COUNT * padding);
  const high = Math.min(size / 2 - 2, Math.floor((body.lengthPx / LEAST_PITCH_PX) * padding));
  const peaks: Peak[] = [];
  for (let bend = -MOST_RATIO; bend <= MOST_RATIO; bend += RATIO_STEP) {
    const spectrumOf = spectraAt(bend);
    for (let r = 0; r < ROWS; r++) {
      const spectrum = spectrumOf(rows[r]!);
      if (!spectrum) continue;
      // a pure wave of the whole row's variation gives 1
      const unit = 1 / (spectrum.squares * columns * (1 / 3));
      for (let k = 0; k < size / 2; k++) power[k] = spectrum.powerAt(k) * unit;
      for (let k = low; k <= high; k++) {
        const p = power[k]!;
        if (p < LEAST_SHARE || p < power[k - 1]! || p < power[k + 1]!) continue;
        const clearness = p / meanBeside(power, k, Math.ceil(LOBE * padding));
        if (clearness >= LEAST_CLEARNESS)
          peaks.push({ row: r, bend, count: k / padding, share: p, clearness });
      }
    }
  }
  return distinct(peaks).map((p) => ({
    band: bandOf(body, p),
    count: p.count,
    clearness: p.clearness,
  }));
}

/**
 * Whether marks are millimetres by what else repeats along the same body: five and ten times as far apart, and none
 * twice, four or eight times, as all fractions of an inch have.
 */
export function areMillimetres(marks: MarksAlong, others: readonly MarksAlong[]): boolean {
  const has = (times: number): boolean =>
    others.some(
      (o) => o.clearness > PLAIN && Math.abs(Math.log(marks.count / (times * o.count))) < IN_PROPORTION,
    );
  return has(10) && has(5) && ![2, 2.5, 4, 8].some(has);
}

/**
 * Whether marks repeat twice as far apart as others do at each of some places (decoded px): then every other one of
 * those is another kind of mark, as halves are between wholes.
 */
export function repeatsAtTwice(
  places: readonly { at: Point; pitchPx: number }[],
  marks: readonly MarksAlong[],
): boolean {
  return marks.some(
    ({ band, clearness }) =>
      clearness > PLAIN &&
      places.every(({ at, pitchPx }) => {
        const apart = (s: BandStretch): number => Math.hypot(s.x - at.x, s.y - at.y);
        const near = band.stretches.reduce((p, q) => (apart(q) < apart(p) ? q : p));
        return (
          apart(near) < NEAR_PITCHES * pitchPx && Math.abs(Math.log(near.pitchPx / (2 * pitchPx))) < TWICE_TO
        );
      }),
  );
}

const NEAR_PITCHES = 6;
/** How exactly one pitch is twice another (natural logarithm). */
const TWICE_TO = 0.05;

/** Clearness of what decides of a unit, and how exactly counts are in proportion (natural logarithm). */
const PLAIN = 50;
const IN_PROPORTION = 0.012;

interface Peak {
  row: number;
  bend: number;
  count: number;
  share: number;
  clearness: number;
}

const acrossOf = (row: number): number => BEYOND * ((2 * (row + 0.5)) / ROWS - 1);

/** Brightness along the body at one distance from its middle, less its mean over half a width, without outliers. */
function rowAlong(gray: GrayImage, body: RulerBody, across: number, columns: number): Float64Array {
  const lines = Math.max(1, Math.min(8, Math.round((BEYOND * body.widthPx) / ROWS)));
  const sum = new Float64Array(columns);
  const one = new Float64Array(1);
  for (let i = 0; i < columns; i++) {
    for (let l = 0; l < lines; l++) {
      const p = body.place((i + 0.5) / columns, across + (BEYOND * 2 * ((l + 0.5) / lines - 0.5)) / ROWS);
      sampleLine(gray, p.x, p.y, 0, 0, 1, one);
      sum[i]! += one[0]! / lines;
    }
  }
  const before = new Float64Array(columns + 1);
  let last = 0;
  for (let i = 0; i < columns; i++) {
    if (!Number.isNaN(sum[i]!)) last = sum[i]!;
    before[i + 1] = before[i]! + last;
  }
  const reach = Math.max(6, Math.round((0.5 * body.widthPx * columns) / body.lengthPx));
  const out = sum.map((v, i) => {
    const a = Math.max(0, i - reach);
    const b = Math.min(columns, i + reach + 1);
    return Number.isNaN(v) ? 0 : v - (before[b]! - before[a]!) / (b - a);
  });
  const usual = [...out].map(Math.abs).sort((p, q) => p - q)[columns >> 1]!;
  const most = 4 * usual + 1e-3;
  return out.map((v) => Math.max(-most, Math.min(most, v)));
}

/** Mean power from three quarters of a frequency to four thirds of it, without the line itself. */
function meanBeside(power: Float64Array, at: number, lobe: number): number {
  let sum = 0;
  let n = 0;
  const end = Math.min(power.length, Math.max(Math.round((4 / 3) * at), at + 2 * lobe));
  for (let k = Math.max(1, Math.min(Math.round(0.75 * at), at - 2 * lobe)); k < end; k++) {
    if (Math.abs(k - at) <= lobe) continue;
    sum += power[k]!;
    n++;
  }
  return sum / n + 1e-9;
}

/** The clearest of each distance between marks and each part of the width; no multiples of what is stronger in the same row. */
function distinct(peaks: Peak[]): Peak[] {
  const sorted = [...peaks].sort((p, q) => q.clearness - p.clearness);
  const isMultiple = (p: Peak): boolean =>
    peaks.some((q) => {
      const times = p.count / q.count;
      return (
        q.row === p.row &&
        q.share > p.share &&
        times > 1.5 &&
        Math.abs(times - Math.round(times)) < 0.02 * times &&
        Math.abs(q.bend - p.bend) < 2 * RATIO_STEP
      );
    });
  const kept: Peak[] = [];
  for (const p of sorted) {
    if (kept.length >= MOST_FOUND) break;
    if (kept.some((q) => Math.abs(Math.log(p.count / q.count)) < SAME && Math.abs(p.row - q.row) < ROWS / 5))
      continue;
    if (!isMultiple(p)) kept.push(p);
  }
  return kept;
}

function bandOf(body: RulerBody, { row, bend, count }: Peak): FollowedBand {
  const across = acrossOf(row);
  const g = Math.exp(bend / 2) - 1;
  const stretches: BandStretch[] = [];
  for (let i = 0; i < STRETCHES; i++) {
    const s = (i + 0.5) / STRETCHES;
    const p = body.place(s, across);
    const [a, b] = [body.place(s - 0.01, across), body.place(s + 0.01, across)];
    const axisAngle = Math.atan2(b.y - a.y, b.x - a.x);
    stretches.push({
      ...p,
      axisAngle,
      tickAngle: axisAngle + Math.PI / 2,
      // n = (1 + g) s ÷ (1 + g s), from 0 to 1
      pitchPx: (Math.hypot(b.x - a.x, b.y - a.y) / 0.02 / count) * ((1 + g * s) ** 2 / (1 + g)),
      amplitude: 1,
    });
  }
  return { stretches, depthPx: Math.max(3, (DEEP * BEYOND * body.widthPx) / ROWS) };
}

/** Rows over which marks are taken to be present. */
const DEEP = 3;
