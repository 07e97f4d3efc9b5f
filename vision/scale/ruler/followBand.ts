import type { GrayImage } from '../../types.ts';
import type { Seed } from './findSeeds.ts';
import { sampleLine } from './sampleLine.ts';

/** One stretch of the band of ticks. Pixels of the level searched. */
export interface BandStretch {
  x: number;
  y: number;
  axisAngle: number;
  tickAngle: number;
  pitchPx: number;
  /** Mean amplitude of the repetition over the band's depth. */
  amplitude: number;
}

/** Consecutive stretches along the band, in order along its axis. */
export interface FollowedBand {
  stretches: BandStretch[];
  /** Depth over which every tick is present, px. */
  depthPx: number;
}

/** Rows looked at to each side of the band's middle: enough for the shortest ticks and some drift. */
const rowsFor = (pitchPx: number): number => Math.round(Math.min(45, Math.max(22, 4.5 * pitchPx)));

/**
 * Follows a band of ticks both ways from a seed, in overlapping stretches, letting its direction, pitch
 * and slant drift as perspective and a tape's curve demand.
 *
 * Each stretch is the amplitude and phase, row by row, of the brightness at the pitch's frequency; rows
 * are compared with those of the stretch before to stay on the band.
 * Returns null where fewer than three stretches hold together.
 */
export function followBand(image: GrayImage, seed: Seed): FollowedBand | null {
  const length = Math.round(Math.min(256, Math.max(80, 14 * seed.pitchPx)));
  const rows = rowsFor(seed.pitchPx);
  // the seed's direction is good to ± 4 or, across slanted ticks, ± 10 degrees: take the best of a few
  let first: Measured | null = null;
  let firstPower = 0;
  for (const turn of [0, -0.13, 0.13]) {
    const m = measureStretch(image, { ...seed, axisAngle: seed.axisAngle + turn }, length, 0.06, rows, 16);
    if (!m) continue;
    if (turn === 0 && isNoScale(m, rows)) return null;
    const power = m.stretch.amplitude * Math.sqrt(m.depth);
    if (power > firstPower * 1.02) {
      first = m;
      firstPower = power;
    }
  }
  if (!first) return null;
  // put the middle of the seed on the middle of the band, then look again
  for (let i = 0; i < 2; i++) {
    const again = measureStretch(
      image,
      { ...first.stretch, ...shifted(first.stretch, first.middle) },
      length,
      0.03,
      rows,
      first.depth,
    );
    if (!again) return null;
    first = again;
  }
  if (isNoScale(first, rows)) return null;
  const forward = walk(image, first, length, 1, rows);
  const backward = walk(image, first, length, -1, rows);
  const stretches = [...backward.reverse(), first.stretch, ...forward];
  if (stretches.length < 3) return null;
  return { stretches, depthPx: first.depth };
}

const shifted = (s: BandStretch, rows: number): { x: number; y: number } => ({
  x: s.x + rows * Math.cos(s.tickAngle),
  y: s.y + rows * Math.sin(s.tickAngle),
});

/**
 * What hardly repeats even at the seed is no scale. Nor is what repeats over a great depth: the shortest
 * ticks of a scale are not long against their spacing; stripes and ribs of cloth are.
 */
function isNoScale(m: Measured, rows: number): boolean {
  return m.share < MIN_SHARE || m.depth > MAX_DEPTH_PITCHES * m.stretch.pitchPx || m.depth > 1.86 * rows;
}
const MIN_SHARE = 0.12;
const MAX_DEPTH_PITCHES = 6;

interface Measured {
  stretch: BandStretch;
  profile: Float64Array;
  /** Middle of the rows where the repetition is strong, and their extent. */
  middle: number;
  depth: number;
  /** Share of the variation in those rows that repeats. */
  share: number;
}

function walk(image: GrayImage, first: Measured, length: number, sign: 1 | -1, rows: number): BandStretch[] {
  const out: BandStretch[] = [];
  const step = sign * length * 0.5;
  let last = first;
  let turn = 0;
  let misses = 0;
  for (let n = 1; n < 200; n++) {
    const s = last.stretch;
    const reach = step * (misses + 1);
    const heading = s.axisAngle + turn / 2;
    const guess: BandStretch = {
      ...s,
      x: s.x + reach * Math.cos(heading),
      y: s.y + reach * Math.sin(heading),
      axisAngle: s.axisAngle + turn,
    };
    if (guess.x < -20 || guess.y < -20 || guess.x > image.widthPx + 20 || guess.y > image.heightPx + 20)
      break;
    let m = measureStretch(image, guess, length, 0.02, rows, first.depth);
    if (m) {
      const shift = bestShift(first.profile, m.profile);
      const moved = { ...m.stretch, ...shifted(m.stretch, shift) };
      if (Math.abs(shift) > 1.5) m = measureStretch(image, moved, length, 0.02, rows, first.depth);
      else m = { ...m, stretch: moved };
    }
    const good =
      m !== null &&
      m.stretch.amplitude > 0.22 * first.stretch.amplitude &&
      m.share > 0.35 * first.share &&
      Math.abs(m.stretch.pitchPx / s.pitchPx - 1) < 0.08;
    if (!m || !good) {
      if (++misses > 2) break;
      continue;
    }
    const dx = sign * (m.stretch.x - s.x);
    const dy = sign * (m.stretch.y - s.y);
    const chord = Math.atan2(dy, dx);
    // the chord runs between two stretches; the curve's own direction at its end turns on by half the change
    const change = angleBetween(chord, s.axisAngle);
    if (Math.abs(change) > 0.2) {
      if (++misses > 2) break;
      continue;
    }
    const gain = 0.6;
    m.stretch.axisAngle = s.axisAngle + turn + gain * 2 * (change - turn / 2);
    turn = (turn + gain * 2 * (change - turn / 2) * 0.3) * 0.7;
    misses = 0;
    out.push(m.stretch);
    last = m;
  }
  return out;
}

/** a − b for directions of lines, −π/2…π/2. */
export function angleBetween(a: number, b: number): number {
  let d = a - b;
  while (d > Math.PI / 2) d -= Math.PI;
  while (d < -Math.PI / 2) d += Math.PI;
  return d;
}

/** Shift, rows, that lays `profile` best on `reference` (what lies at row r + shift came from row r). */
function bestShift(reference: Float64Array, profile: Float64Array): number {
  let best = -Infinity;
  let at = 0;
  const scores: number[] = [];
  const MAX = 14;
  for (let s = -MAX; s <= MAX; s++) {
    let sum = 0;
    let a = 0;
    let b = 0;
    for (let r = 0; r < reference.length; r++) {
      const q = r + s;
      if (q < 0 || q >= profile.length) continue;
      sum += reference[r]! * profile[q]!;
      a += reference[r]! ** 2;
      b += profile[q]! ** 2;
    }
    const score = a > 0 && b > 0 ? sum / Math.sqrt(a * b) : 0;
    scores.push(score);
    if (score > best) {
      best = score;
      at = s;
    }
  }
  const i = at + MAX;
  if (i > 0 && i < scores.length - 1) {
    const d = scores[i - 1]! - 2 * scores[i]! + scores[i + 1]!;
    if (d < 0) return at + (0.5 * (scores[i - 1]! - scores[i + 1]!)) / d;
  }
  return at;
}

/** Windows sin² by length, kept because many stretches have the same. */
const windows = new Map<number, Float64Array>();
function windowOf(length: number): Float64Array {
  let w = windows.get(length);
  if (!w) {
    w = Float64Array.from({ length }, (_, i) => Math.sin((Math.PI * (i + 0.5)) / length) ** 2);
    windows.set(length, w);
  }
  return w;
}

/** Fourier sum of rows `from`…`to` (every `step`th) at one pitch; returns the summed power. */
function transformRows(
  strip: Float32Array,
  length: number,
  pitch: number,
  from: number,
  to: number,
  step: number,
  real: Float64Array,
  imaginary: Float64Array,
): number {
  const f = (2 * Math.PI) / pitch;
  const cos = new Float32Array(length);
  const sin = new Float32Array(length);
  for (let i = 0; i < length; i++) {
    cos[i] = Math.cos(f * (i - length / 2));
    sin[i] = Math.sin(f * (i - length / 2));
  }
  let power = 0;
  for (let r = from; r <= to; r += step) {
    let a = 0;
    let b = 0;
    const o = r * length;
    for (let i = 0; i < length; i++) {
      const v = strip[o + i]!;
      a += v * cos[i]!;
      b += v * sin[i]!;
    }
    real[r] = a;
    imaginary[r] = b;
    power += a * a + b * b;
  }
  return power;
}

/** Amplitude and phase per row at the best pitch within ± `search` of the guess; null off the picture. */
function measureStretch(
  image: GrayImage,
  guess: { x: number; y: number; axisAngle: number; tickAngle: number; pitchPx: number },
  length: number,
  search: number,
  ROWS: number,
  depth: number,
): Measured | null {
  const { axisAngle, tickAngle } = guess;
  const ux = Math.cos(axisAngle);
  const uy = Math.sin(axisAngle);
  const vx = Math.cos(tickAngle);
  const vy = Math.sin(tickAngle);
  const rows = 2 * ROWS + 1;
  const strip = new Float32Array(rows * length);
  const energy = new Float64Array(rows);
  const window = windowOf(length);
  let inside = 0;
  const gap = Math.max(1, Math.round(guess.pitchPx / 2));
  const line = new Float32Array(length + gap);
  for (let r = 0; r < rows; r++) {
    const start = -(length + gap) / 2;
    sampleLine(
      image,
      guess.x + (r - ROWS) * vx + start * ux,
      guess.y + (r - ROWS) * vy + start * uy,
      ux,
      uy,
      length + gap,
      line,
    );
    const o = r * length;
    let sum = 0;
    for (let i = 0; i < length; i++) {
      const d = line[i + gap]! - line[i]!;
      // false for NaN, which leaves zero there
      if (d >= -2) {
        const value = window[i]! * (d < -0.3 ? -0.3 : d > 0.3 ? 0.3 : d);
        strip[o + i] = value;
        sum += value * value;
        inside++;
      }
    }
    energy[r] = sum;
  }
  if (inside < 0.35 * rows * length) return null;
  const steps = search > 0.04 ? 9 : 5;
  let bestPitch = guess.pitchPx;
  let bestPower = -1;
  const real = new Float64Array(rows);
  const imaginary = new Float64Array(rows);
  const reach = Math.min(ROWS, Math.round(depth / 2 + 6));
  const powers: number[] = [];
  for (let k = 0; k < steps; k++) {
    const pitch = guess.pitchPx * (1 + (search * (2 * k - (steps - 1))) / (steps - 1));
    const p = transformRows(strip, length, pitch, ROWS - reach, ROWS + reach, 3, real, imaginary);
    powers.push(p);
    if (p > bestPower) {
      bestPower = p;
      bestPitch = pitch;
    }
  }
  const at = powers.indexOf(bestPower);
  if (at > 0 && at < steps - 1) {
    const d = powers[at - 1]! - 2 * powers[at]! + powers[at + 1]!;
    if (d < 0)
      bestPitch +=
        ((guess.pitchPx * 2 * search) / (steps - 1)) * ((0.5 * (powers[at - 1]! - powers[at + 1]!)) / d);
  }
  transformRows(strip, length, bestPitch, 0, rows - 1, 1, real, imaginary);

  const profile = new Float64Array(rows);
  for (let r = 0; r < rows; r++) {
    profile[r] = Math.hypot(real[r]!, imaginary[r]!);
  }
  smooth3(profile);
  // prefer the band near the middle when two bands are in reach
  let peak = ROWS;
  let peakScore = -1;
  for (let r = 0; r < rows; r++) {
    const score = profile[r]! * (1 - 0.4 * (Math.abs(r - ROWS) / ROWS));
    if (score > peakScore) {
      peakScore = score;
      peak = r;
    }
  }
  const level = 0.5 * profile[peak]!;
  let a = peak;
  let b = peak;
  while (a > 0 && profile[a - 1]! > level) a--;
  while (b < rows - 1 && profile[b + 1]! > level) b++;
  let power = 0;
  let all = 0;
  let amplitude = 0;
  for (let r = a; r <= b; r++) {
    power += real[r]! ** 2 + imaginary[r]! ** 2;
    all += energy[r]!;
    amplitude += profile[r]!;
  }
  amplitude /= b - a + 1;

  // slant: the phase changes along the ticks when the assumed direction is off
  let sr = 0;
  let si = 0;
  for (let r = a; r < b; r++) {
    sr += real[r]! * real[r + 1]! + imaginary[r]! * imaginary[r + 1]!;
    si += real[r]! * imaginary[r + 1]! - imaginary[r]! * real[r + 1]!;
  }
  const phasePerRow = Math.atan2(si, sr);
  // the transform uses e^{+i}: a later position gives a larger phase
  const shiftPerRow = b - a >= 3 ? (phasePerRow / (2 * Math.PI)) * bestPitch : 0;
  const dx = vx + shiftPerRow * ux;
  const dy = vy + shiftPerRow * uy;
  const newTick = tickAngle + angleBetween(Math.atan2(dy, dx), tickAngle);
  return {
    stretch: {
      x: guess.x,
      y: guess.y,
      axisAngle,
      tickAngle: Math.abs(angleBetween(newTick, axisAngle + Math.PI / 2)) < 0.5 ? newTick : tickAngle,
      pitchPx: bestPitch,
      amplitude,
    },
    profile,
    middle: (a + b) / 2 - ROWS,
    depth: b - a + 1,
    share: all > 0 ? (2 * power) / (all * length * 0.75) : 0,
  };
}

function smooth3(values: Float64Array): void {
  let before = values[0]!;
  for (let i = 0; i < values.length; i++) {
    const here = values[i]!;
    const after = values[Math.min(values.length - 1, i + 1)]!;
    values[i] = 0.25 * before + 0.5 * here + 0.25 * after;
    before = here;
  }
}
