import type { Point, RgbImage } from '../types.ts';
import { distance, intersect, lineThrough, type Line, type Quad } from './geometry.ts';
import { colourAt } from './roundness.ts';

/** An averaged piece of a side: where the edge lies, and how well that is known across it. */
export interface EdgePoint {
  /** 0…3: the side from corner i to corner i + 1. */
  side: number;
  point: Point;
  /** Standard uncertainty across the side, px. */
  sigmaPx: number;
}

/** One straight (or lens-bent) side of a quadrilateral, found to a fraction of a pixel. */
export interface SideFit {
  line: Line;
  points: EdgePoint[];
  /** Share of the places along the side where an edge lies on the fitted line. */
  support: number;
  /** Median colour gradient on the line, levels per pixel. */
  gradient: number;
  /** Scatter of single edge places about the line, px (robust standard deviation). */
  scatterPx: number;
  /** Share of supported places whose colour step points the way that the side's mean step does, 0.5…1. */
  consistency: number;
  /** Mean colour just inside and just outside, R, G, B. */
  inside: [number, number, number];
  outside: [number, number, number];
}

export interface EdgeFitOptions {
  /** How far to either side of the given line to look, px. */
  searchPx: number;
  /** Share of the side left out at each end (rounded corners). */
  insetShare: number;
  /** Largest bow of the side at its middle to try, px; 0 for a straight one. */
  maxBowPx?: number;
  /** Most places along the side to look at. Default 160. */
  maxPlaces?: number;
  /** Whether something lies over a place a little inside the side: what edge is seen there is not the side's. */
  isHidden?: (inside: Point) => boolean;
}

const STEP_PX = 0.5;
const KERNEL_SIGMA_PX = 1;
/** Derivative of a Gaussian: the best linear detector of a step in white noise at this blur. */
const KERNEL = derivativeKernel();
const HALF = (KERNEL.length - 1) / 2;
/** Weakest colour gradient that counts as an edge, levels per pixel (Euclidean over R, G, B). */
const MIN_GRADIENT = 3;
const MAX_SAMPLES = 160;
/** How far inside a side a place is asked about whether it is hidden, share of the side's length. */
const ASKED_INSIDE = 0.05;
/** Support is the share of the places that are not hidden, or of this share of all where fewer are not. */
const LEAST_SHOWN = 1 / 3;
const BLOCKS = 8;

function derivativeKernel(): Float64Array {
  const half = Math.round((3 * KERNEL_SIGMA_PX) / STEP_PX);
  const kernel = new Float64Array(2 * half + 1);
  let gain = 0;
  for (let i = -half; i <= half; i++) {
    const x = i * STEP_PX;
    const value = x * Math.exp((-x * x) / (2 * KERNEL_SIGMA_PX * KERNEL_SIGMA_PX));
    kernel[i + half] = value;
    gain += value * x;
  }
  return kernel.map((v) => v / gain); // answers 1 to a slope of one level per pixel
}

/** Fits the sides of a clockwise quadrilateral; a side known to be hidden is null in the result. */
export function fitSides(
  rgb: RgbImage,
  quad: Quad,
  hiddenSide: number | null,
  options: EdgeFitOptions,
): (SideFit | null)[] | null {
  const sides: (SideFit | null)[] = [];
  for (let i = 0; i < 4; i++) {
    const side = i === hiddenSide ? null : fitSide(rgb, quad[i]!, quad[(i + 1) % 4]!, i, options);
    if (!side && i !== hiddenSide) return null;
    sides.push(side);
  }
  return sides;
}

/** Corners from the sides' lines; a hidden side keeps the place that `quad` gives it. */
export function cornersOf(sides: readonly (SideFit | null)[], quad: Quad): Quad | null {
  const lines = sides.map((side, i) => side?.line ?? lineThrough(quad[i]!, quad[(i + 1) % 4]!));
  const corners = lines.map((line, i) => intersect(lines[(i + 3) % 4]!, line));
  return corners.every((c) => c !== null) ? (corners as Quad) : null;
}

/**
 * Share of the eight prolongations of the sides, past either corner, along which the edge goes on. A thing
 * that lies by itself ends at its corners; a check in a cloth, a tile or a plank does not.
 */
export function prolongedShare(rgb: RgbImage, quad: Quad, sides: readonly (SideFit | null)[]): number {
  let prolonged = 0;
  let judged = 0;
  sides.forEach((side, i) => {
    if (!side) return;
    const from = quad[i]!;
    const to = quad[(i + 1) % 4]!;
    const length = distance(from, to);
    const u = { x: (to.x - from.x) / length, y: (to.y - from.y) / length };
    for (const [corner, sign] of [
      [from, -1],
      [to, 1],
    ] as const) {
      let on = 0;
      let count = 0;
      const reach = Math.max(8, 0.16 * length);
      for (let t = 0.02 * length + 2; t < reach; t += 1) {
        const p = { x: corner.x + sign * t * u.x, y: corner.y + sign * t * u.y };
        const g = gradientAcross(rgb, p, u);
        if (g === null) break;
        count++;
        if (g > 0.4 * side.gradient && g > MIN_GRADIENT) on++;
      }
      if (count < 5) continue;
      judged++;
      if (on > 0.6 * count) prolonged++;
    }
  });
  return judged === 0 ? 0 : prolonged / judged;
}

/** Colour gradient across direction u at p, the largest within a pixel and a half; only where it peaks there. */
function gradientAcross(rgb: RgbImage, p: Point, u: Point): number | null {
  const at = (o: number): [number, number, number] | null =>
    colourAt(rgb, { x: p.x - u.y * o, y: p.y + u.x * o });
  const values: number[] = [];
  for (let o = -4; o <= 4; o += 1) {
    const a = at(o - 1);
    const b = at(o + 1);
    if (!a || !b) return null;
    values.push(Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) / 2);
  }
  const middle = Math.max(values[3]!, values[4]!, values[5]!);
  return middle >= Math.max(...values) ? middle : 0;
}

/**
 * Finds the edge near the line from `from` to `to`. The inside lies to the right of the direction of travel
 * as seen on screen.
 */
export function fitSide(
  rgb: RgbImage,
  from: Point,
  to: Point,
  side: number,
  options: EdgeFitOptions,
): SideFit | null {
  const length = distance(from, to);
  if (length < 8) return null;
  const ux = (to.x - from.x) / length;
  const uy = (to.y - from.y) / length;
  const nx = -uy;
  const ny = ux;
  const reach = Math.ceil(options.searchPx / STEP_PX);
  const offsets = 2 * reach + 1;
  const first = options.insetShare * length;
  const span = length - 2 * first;
  const samples = Math.max(16, Math.min(options.maxPlaces ?? MAX_SAMPLES, Math.round(span)));
  const spacing = span / samples;

  const taps = offsets + 2 * HALF;
  const profile = new Float32Array(samples * taps * 3);
  const shown = new Uint8Array(samples);
  const far = (reach + HALF) * STEP_PX;
  let visible = 0;
  let hidden = 0;
  for (let s = 0; s < samples; s++) {
    const t = first + (s + 0.5) * spacing;
    const px = from.x + ux * t;
    const py = from.y + uy * t;
    const x0 = px - nx * far;
    const y0 = py - ny * far;
    const x1 = px + nx * far;
    const y1 = py + ny * far;
    if (
      Math.min(x0, x1, y0, y1) < 0 ||
      Math.max(x0, x1) > rgb.widthPx - 1.01 ||
      Math.max(y0, y1) > rgb.heightPx - 1.01
    ) {
      continue;
    }
    visible++;
    const inward = ASKED_INSIDE * length;
    if (options.isHidden?.({ x: px + nx * inward, y: py + ny * inward })) {
      hidden++;
      continue;
    }
    shown[s] = 1;
    fillProfile(rgb, x0, y0, nx, ny, profile, s * taps * 3, taps);
  }
  if (visible < 0.4 * samples) return null;

  // Gradient vectors, then averaged over neighbouring places to quieten noise.
  const raw = gradientsOf(profile, shown, taps, offsets);
  const smooth = spacing <= 2.5 ? alongAverage(raw, samples, 3 * offsets, shown) : raw;
  const strength = lengthsOf(smooth);

  const coarse = searchLine(strength, samples, offsets, shown, options.maxBowPx ?? 0);
  const fine = refineLine(strength, samples, offsets, shown, coarse);
  if (!fine) return null;
  const { start, end, bow, places } = fine;

  const offsetAt = (s: number): number => {
    const f = (s + 0.5) / samples;
    return start + (end - start) * f + bow * 4 * f * (1 - f);
  };
  const toPoint = (s: number, offset: number): Point => {
    const t = first + (s + 0.5) * spacing;
    const o = (offset - reach) * STEP_PX;
    return { x: from.x + ux * t + nx * o, y: from.y + uy * t + ny * o };
  };

  // The mean colour step, and how steadily the single steps agree with it.
  const mean = [0, 0, 0];
  const inside: [number, number, number] = [0, 0, 0];
  const outside: [number, number, number] = [0, 0, 0];
  let seen = 0;
  const at3 = (s: number): number => (s * offsets + clampIndex(Math.round(offsetAt(s)), offsets)) * 3;
  for (const { s } of places) for (let c = 0; c < 3; c++) mean[c]! += smooth[at3(s) + c]!;
  let agree = 0;
  const gradients: number[] = [];
  for (const { s } of places) {
    const i = at3(s);
    if (mean[0]! * smooth[i]! + mean[1]! * smooth[i + 1]! + mean[2]! * smooth[i + 2]! > 0) agree++;
    gradients.push(strength[i / 3]!);
  }
  for (let s = 0; s < samples; s++) {
    if (!shown[s]) continue;
    const k = HALF + clampIndex(Math.round(offsetAt(s)), offsets);
    const far = 5; // 2.5 px from the edge: clear of its blur
    for (let c = 0; c < 3; c++) {
      inside[c]! += profile[(s * taps + Math.min(taps - 1, k + far)) * 3 + c]!;
      outside[c]! += profile[(s * taps + Math.max(0, k - far)) * 3 + c]!;
    }
    seen++;
  }
  for (let c = 0; c < 3; c++) {
    inside[c]! /= seen;
    outside[c]! /= seen;
  }
  gradients.sort((p, q) => p - q);

  const exact = inLinearLight(profile, places, samples, taps, fine);

  return {
    line: lineThrough(toPoint(-0.5, exact.start), toPoint(samples - 0.5, exact.end)),
    points: blocksOf(exact.places, samples, exact.scatter).map(({ s, offset, sigma }) => ({
      side,
      point: toPoint(s, offset),
      sigmaPx: sigma * STEP_PX,
    })),
    support: places.length / Math.max(samples - hidden, LEAST_SHOWN * samples),
    gradient: gradients.length > 0 ? gradients[gradients.length >> 1]! : 0,
    scatterPx: exact.scatter * STEP_PX,
    consistency: places.length > 0 ? Math.max(agree, places.length - agree) / places.length : 0.5,
    inside,
    outside,
  };
}

/** Colours on a line across the side, `taps` of them half a pixel apart; R, G, B into `profile` from `o` on. */
function fillProfile(
  { data, widthPx }: RgbImage,
  x0: number,
  y0: number,
  nx: number,
  ny: number,
  profile: Float32Array,
  o: number,
  taps: number,
): void {
  for (let k = 0; k < taps; k++) {
    const x = x0 + nx * k * STEP_PX;
    const y = y0 + ny * k * STEP_PX;
    const ix = x | 0;
    const iy = y | 0;
    const fx = x - ix;
    const fy = y - iy;
    const j = 3 * (iy * widthPx + ix);
    const d = j + 3 * widthPx;
    const w11 = fx * fy;
    const w10 = fx - w11;
    const w01 = fy - w11;
    const w00 = 1 - fx - fy + w11;
    profile[o++] = w00 * data[j]! + w10 * data[j + 3]! + w01 * data[d]! + w11 * data[d + 3]!;
    profile[o++] = w00 * data[j + 1]! + w10 * data[j + 4]! + w01 * data[d + 1]! + w11 * data[d + 4]!;
    profile[o++] = w00 * data[j + 2]! + w10 * data[j + 5]! + w01 * data[d + 2]! + w11 * data[d + 5]!;
  }
}

/** Derivative of each place's colours across the side, R, G, B; 0 where a place is not shown. */
function gradientsOf(profile: Float32Array, shown: Uint8Array, taps: number, offsets: number): Float32Array {
  const raw = new Float32Array(shown.length * offsets * 3);
  for (let s = 0; s < shown.length; s++) {
    if (!shown[s]) continue;
    for (let k = 0; k < offsets; k++) {
      let r = 0;
      let g = 0;
      let b = 0;
      let o = (s * taps + k) * 3;
      for (let q = 0; q < KERNEL.length; q++, o += 3) {
        const w = KERNEL[q]!;
        r += w * profile[o]!;
        g += w * profile[o + 1]!;
        b += w * profile[o + 2]!;
      }
      const at = (s * offsets + k) * 3;
      raw[at] = r;
      raw[at + 1] = g;
      raw[at + 2] = b;
    }
  }
  return raw;
}

/** Length of each vector of three. */
function lengthsOf(vectors: Float32Array): Float32Array {
  const lengths = new Float32Array(vectors.length / 3);
  for (let i = 0, j = 0; i < lengths.length; i++, j += 3) {
    lengths[i] = Math.hypot(vectors[j]!, vectors[j + 1]!, vectors[j + 2]!);
  }
  return lengths;
}

/** sRGB level → linear light, 0…255 (IEC 61966-2-1). */
const LINEAR = Float32Array.from({ length: 256 }, (_, v) => {
  const c = v / 255;
  return 255 * (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
});

/** Linear light, 0…255, of an sRGB level that need not be whole. */
export function linearLevel(level: number): number {
  const low = Math.floor(level);
  const high = Math.min(255, low + 1);
  return LINEAR[low]! + (level - low) * (LINEAR[high]! - LINEAR[low]!);
}

/**
 * Places the edge anew in linear light. Lens and sensor blur light; the picture holds its sRGB code, in which the
 * steepest place of a blurred edge lies up to a pixel toward the dark side, so that light things look too large.
 */
function inLinearLight(
  profile: Float32Array,
  places: readonly Place[],
  samples: number,
  taps: number,
  found: CoarseLine & { places: Place[]; scatter: number },
): CoarseLine & { places: Place[]; scatter: number } {
  const reach = 4;
  const moved: Place[] = [];
  const strength = new Float32Array(2 * reach + 3);
  const row = new Float32Array(3 * (strength.length + 2 * HALF));
  for (const { s, offset } of places) {
    const first = Math.round(offset) - reach - 1;
    if (first < 0 || first + strength.length + 2 * HALF > taps) continue;
    const at = (s * taps + first) * 3;
    for (let i = 0; i < row.length; i++) row[i] = linearLevel(profile[at + i]!);
    for (let k = 0; k < strength.length; k++) {
      let r = 0;
      let g = 0;
      let b = 0;
      for (let q = 0, o = 3 * k; q < KERNEL.length; q++, o += 3) {
        const w = KERNEL[q]!;
        r += w * row[o]!;
        g += w * row[o + 1]!;
        b += w * row[o + 2]!;
      }
      strength[k] = Math.sqrt(r * r + g * g + b * b);
    }
    const peak = peakNear(strength, 0, strength.length, offset - first, reach, 0.05);
    if (peak !== null) moved.push({ s, offset: first + peak });
  }
  if (moved.length < 0.6 * places.length || moved.length < 8) return found;
  const fit = robustLine(moved, samples, found.bow !== 0);
  if (!fit) return found;
  const kept = moved.filter(({ s, offset }) => {
    const f = (s + 0.5) / samples;
    const expected = fit.start + (fit.end - fit.start) * f + fit.bow * 4 * f * (1 - f);
    return Math.abs(offset - expected) <= Math.max(2, 3 * fit.scatter);
  });
  return kept.length >= 6 ? { ...fit, places: kept } : found;
}

const clampIndex = (k: number, count: number): number => Math.max(0, Math.min(count - 1, k));

function alongAverage(raw: Float32Array, samples: number, stride: number, valid: Uint8Array): Float32Array {
  const out = new Float32Array(raw.length);
  for (let s = 0; s < samples; s++) {
    if (!valid[s]) continue;
    const hasBefore = s > 0 && valid[s - 1] === 1;
    const hasAfter = s < samples - 1 && valid[s + 1] === 1;
    const before = hasBefore ? -stride : 0;
    const after = hasAfter ? stride : 0;
    for (let i = s * stride, end = i + stride; i < end; i++) {
      out[i] = 0.5 * raw[i]! + 0.25 * (raw[i + before]! + raw[i + after]!);
    }
  }
  return out;
}

interface CoarseLine {
  /** Offsets (in steps) at the first and last sample, and the bow at the middle. */
  start: number;
  end: number;
  bow: number;
}

/** The line along which the capped gradient is largest: many weak agreeing places beat a few strong ones. */
function searchLine(
  strength: Float32Array,
  samples: number,
  offsets: number,
  valid: Uint8Array,
  maxBowPx: number,
): CoarseLine {
  const cap = 25;
  const stride = Math.max(1, Math.floor(samples / 64));
  const bowSteps = Math.ceil(maxBowPx / STEP_PX);
  const bows = [0];
  for (let b = 2; b <= bowSteps; b += Math.max(2, Math.round(bowSteps / 6))) bows.push(b, -b);
  let best = -1;
  let result: CoarseLine = { start: offsets >> 1, end: offsets >> 1, bow: 0 };
  const grid = offsets > 60 ? 2 : 1;
  for (const bow of bows) {
    for (let start = 0; start < offsets; start += grid) {
      for (let end = 0; end < offsets; end += grid) {
        let sum = 0;
        for (let s = 0; s < samples; s += stride) {
          if (!valid[s]) continue;
          const f = (s + 0.5) / samples;
          const k = Math.round(start + (end - start) * f + bow * 4 * f * (1 - f));
          if (k < 0 || k >= offsets) continue;
          const g = strength[s * offsets + k]!;
          sum += g > cap ? cap : g;
        }
        // A slight preference for the line that was given keeps ties from wandering.
        const away = Math.abs(start - (offsets >> 1)) + Math.abs(end - (offsets >> 1));
        sum *= 1 - (0.15 * away) / offsets;
        if (sum > best) {
          best = sum;
          result = { start, end, bow };
        }
      }
    }
  }
  return result;
}

interface Place {
  s: number;
  offset: number;
}

/** Single edge places near the coarse line, each to a fraction of a step, and a robust fit through them. */
function refineLine(
  strength: Float32Array,
  samples: number,
  offsets: number,
  valid: Uint8Array,
  coarse: CoarseLine,
): (CoarseLine & { places: Place[]; scatter: number }) | null {
  let { start, end } = coarse;
  let { bow } = coarse;
  let places: Place[] = [];
  let scatter = 0;
  const window = [4, 3, 3]; // steps
  for (const reach of window) {
    places = [];
    for (let s = 0; s < samples; s++) {
      if (!valid[s]) continue;
      const f = (s + 0.5) / samples;
      const expected = start + (end - start) * f + bow * 4 * f * (1 - f);
      const peak = peakNear(strength, s * offsets, offsets, expected, reach);
      if (peak !== null) places.push({ s, offset: peak });
    }
    if (places.length < 8) return null;
    const fit = robustLine(places, samples, bow !== 0);
    if (!fit) return null;
    ({ start, end, bow, scatter } = fit);
  }
  const kept = places.filter(({ s, offset }) => {
    const f = (s + 0.5) / samples;
    const expected = start + (end - start) * f + bow * 4 * f * (1 - f);
    return Math.abs(offset - expected) <= Math.max(2, 3 * scatter);
  });
  return kept.length >= 6 ? { start, end, bow, places: kept, scatter } : null;
}

function peakNear(
  strength: Float32Array,
  row: number,
  offsets: number,
  expected: number,
  reach: number,
  least = MIN_GRADIENT,
): number | null {
  const low = Math.max(1, Math.ceil(expected - reach));
  const high = Math.min(offsets - 2, Math.floor(expected + reach));
  let best: number | null = null;
  let bestValue = 0;
  for (let k = low; k <= high; k++) {
    const v = strength[row + k]!;
    if (v < least || v < strength[row + k - 1]! || v <= strength[row + k + 1]!) continue;
    const worth = v * (1 - (0.5 * Math.abs(k - expected)) / (reach + 1));
    if (worth > bestValue) {
      bestValue = worth;
      const l = strength[row + k - 1]!;
      const r = strength[row + k + 1]!;
      best = k + (0.5 * (l - r)) / (l - 2 * v + r);
    }
  }
  return best;
}

/** Straight or parabolic fit, iteratively reweighted with Tukey's biweight; scale from the median deviation. */
function robustLine(
  places: Place[],
  samples: number,
  bent: boolean,
): (CoarseLine & { scatter: number }) | null {
  const m = bent ? 3 : 2;
  const weights = new Float64Array(places.length).fill(1);
  let coefficients = [0, 0, 0];
  let scatter = 0;
  for (let pass = 0; pass < 8; pass++) {
    const a = new Float64Array(9);
    const b = new Float64Array(3);
    addSquares(places, weights, samples, m, a, b);
    const solved = solveSmall(a, b, m);
    if (!solved) return null;
    const before = coefficients;
    coefficients = [solved[0]!, solved[1]!, bent ? solved[2]! : 0];
    const settled = pass > 0 && coefficients.every((c, k) => Math.abs(c - before[k]!) < 2e-3);
    const residuals = places.map(({ s, offset }) => {
      const f = (s + 0.5) / samples;
      return (
        offset - (coefficients[0]! * (1 - f) + coefficients[1]! * f + coefficients[2]! * 4 * f * (1 - f))
      );
    });
    const sorted = residuals.map(Math.abs).sort((p, q) => p - q);
    scatter = Math.max(0.08, 1.4826 * sorted[sorted.length >> 1]!);
    if (settled) break;
    const limit = 4.685 * scatter;
    residuals.forEach((r, i) => {
      const u = r / limit;
      weights[i] = Math.abs(u) < 1 ? (1 - u * u) ** 2 : 0;
    });
  }
  return { start: coefficients[0]!, end: coefficients[1]!, bow: coefficients[2]!, scatter };
}

/** Adds the places' weighted normal equations; a loop of its own, for it would be compiled anew as a callback. */
function addSquares(
  places: readonly Place[],
  weights: Float64Array,
  samples: number,
  m: number,
  a: Float64Array,
  b: Float64Array,
): void {
  const row = [0, 0, 0];
  for (let i = 0; i < places.length; i++) {
    const { s, offset } = places[i]!;
    const f = (s + 0.5) / samples;
    row[0] = 1 - f;
    row[1] = f;
    row[2] = m === 3 ? 4 * f * (1 - f) : 0;
    for (let p = 0; p < m; p++) {
      for (let q = 0; q < m; q++) a[3 * p + q]! += weights[i]! * row[p]! * row[q]!;
      b[p]! += weights[i]! * row[p]! * offset;
    }
  }
}

function solveSmall(a: Float64Array, b: Float64Array, m: number): number[] | null {
  const rows = Array.from({ length: m }, (_, p) => [
    ...Array.from({ length: m }, (_, q) => a[3 * p + q]!),
    b[p]!,
  ]);
  for (let p = 0; p < m; p++) {
    let pivot = p;
    for (let q = p + 1; q < m; q++) if (Math.abs(rows[q]![p]!) > Math.abs(rows[pivot]![p]!)) pivot = q;
    [rows[p], rows[pivot]] = [rows[pivot]!, rows[p]!];
    if (Math.abs(rows[p]![p]!) < 1e-12) return null;
    for (let q = 0; q < m; q++) {
      if (q === p) continue;
      const factor = rows[q]![p]! / rows[p]![p]!;
      for (let k = p; k <= m; k++) rows[q]![k]! -= factor * rows[p]![k]!;
    }
  }
  return rows.map((row, p) => row[m]! / row[p]!);
}

/**
 * Averages places in blocks along the side. Neighbouring places share blur, compression blocks and texture,
 * so a block's uncertainty never falls as fast as 1/√n.
 */
function blocksOf(
  places: Place[],
  samples: number,
  scatter: number,
): { s: number; offset: number; sigma: number }[] {
  const blocks: { s: number; offset: number; sigma: number }[] = [];
  for (let b = 0; b < BLOCKS; b++) {
    const inBlock = places.filter(({ s }) => Math.floor((s * BLOCKS) / samples) === b);
    if (inBlock.length < 2) continue;
    const s = inBlock.reduce((sum, p) => sum + p.s, 0) / inBlock.length;
    const sorted = inBlock.map((p) => p.offset).sort((p, q) => p - q);
    const trim = Math.floor(sorted.length / 5);
    const middle = sorted.slice(trim, sorted.length - trim);
    const offset = middle.reduce((sum, v) => sum + v, 0) / middle.length;
    const independent = Math.max(1, inBlock.length / 3);
    blocks.push({ s, offset, sigma: Math.max(0.06, scatter / Math.sqrt(independent)) });
  }
  return blocks;
}
