import FFT from 'fft.js';
import type { GrayImage } from '../../types.ts';
import { sampleLine } from './sampleLine.ts';

/** A place where short parallel lines seem to repeat along a straight run. Pixels of the level searched. */
export interface Seed {
  x: number;
  y: number;
  /** Direction of the run (across the lines), radians, 0…π. */
  axisAngle: number;
  /** Direction along the lines, radians; near axisAngle + π/2. */
  tickAngle: number;
  pitchPx: number;
  /** Share of the variation that the best pitch and its harmonics explain, 0…1. */
  periodicity: number;
}

export interface FindSeedsOptions {
  /** Smallest and largest pitch looked for, px of this level. */
  minPitchPx: number;
  maxPitchPx: number;
  /** Most places whose periodicity is measured. */
  maxTried: number;
}

const CELL = 16;
const BINS = 24;
const FFT_SIZE = 256;
const WINDOW = 192;
/** Energy of one sharp edge right across a cell: that of the ruler itself, where its ticks begin. */
const ONE_EDGE = 5;

const fft = new FFT(FFT_SIZE);
const hann = Float64Array.from({ length: WINDOW }, (_, i) => Math.sin((Math.PI * (i + 0.5)) / WINDOW) ** 2);

/**
 * Finds places with many short lines side by side, by the energy of edges per direction in small cells
 * (histograms of oriented gradients: Dalal & Triggs, CVPR 2005), summed along straight runs across the
 * lines, and keeps those whose brightness repeats along the run (periodogram).
 *
 * Returns the best first. A ruler gives several seeds; so may ribbed cloth: nothing is decided here.
 */
export function findSeeds(image: GrayImage, options: FindSeedsOptions): Seed[] {
  const columns = Math.floor(image.widthPx / CELL);
  const rows = Math.floor(image.heightPx / CELL);
  if (columns < 6 || rows < 4) return [];
  const cells = columns * rows;
  const energy = edgeEnergy(image, columns, rows);

  // what runs across a ruler has far less energy than its ticks: take it off, which rules out noise and grain
  const net = new Float32Array(BINS * cells);
  for (let b = 0; b < BINS; b++) {
    const own = b * cells;
    const left = ((b + BINS - 1) % BINS) * cells;
    const right = ((b + 1) % BINS) * cells;
    const cross = ((b + BINS / 2) % BINS) * cells;
    const crossL = ((b + BINS / 2 - 1) % BINS) * cells;
    const crossR = ((b + BINS / 2 + 1) % BINS) * cells;
    for (let i = 0; i < cells; i++) {
      const across = energy[cross + i]! + 0.8 * (energy[crossL + i]! + energy[crossR + i]!) - ONE_EDGE;
      const e =
        energy[own + i]! + 0.8 * (energy[left + i]! + energy[right + i]!) - (across > 0 ? 0.7 * across : 0);
      net[own + i] = e > 0 ? Math.sqrt(e) : 0;
    }
  }

  const found: { score: number; cell: number; bin: number }[] = [];
  const sums = new Float32Array(cells);
  const HALF = 6;
  for (let b = 0; b < BINS; b++) {
    const angle = (b * Math.PI) / BINS;
    const dx: number[] = [];
    const dy: number[] = [];
    for (let s = -HALF; s <= HALF; s++) {
      dx.push(Math.round(s * Math.cos(angle)));
      dy.push(Math.round(s * Math.sin(angle)));
    }
    const own = b * cells;
    sums.fill(0);
    for (let cy = 0; cy < rows; cy++)
      for (let cx = 0; cx < columns; cx++) {
        if (net[own + cy * columns + cx]! < 0.35) continue;
        let sum = 0;
        for (let s = 0; s <= 2 * HALF; s++) {
          const x = cx + dx[s]!;
          const y = cy + dy[s]!;
          if (x >= 0 && y >= 0 && x < columns && y < rows) sum += Math.min(3.5, net[own + y * columns + x]!);
        }
        sums[cy * columns + cx] = sum / (2 * HALF + 1);
      }
    // a band of ticks is narrow: runs with as much on both sides are cloth
    const ax = Math.round(-4 * Math.sin(angle));
    const ay = Math.round(4 * Math.cos(angle));
    for (let cy = 0; cy < rows; cy++)
      for (let cx = 0; cx < columns; cx++) {
        const own = sums[cy * columns + cx]!;
        if (own <= 0.5) continue;
        const beside = Math.min(
          sumAt(sums, columns, rows, cx + ax, cy + ay),
          sumAt(sums, columns, rows, cx - ax, cy - ay),
        );
        const score = own - 0.6 * beside;
        if (score > 0.25) found.push({ score, cell: cy * columns + cx, bin: b });
      }
  }
  const best = strongest(found, STRONGEST_KEPT);

  const taken = new Uint8Array(BINS * cells);
  const seeds: Seed[] = [];
  let tried = 0;
  for (const { cell, bin } of best) {
    if (taken[bin * cells + cell]) continue;
    const cx = cell % columns;
    const cy = (cell - cx) / columns;
    const angle = (bin * Math.PI) / BINS;
    // along the run one seed every few cells is enough; across it every cell may hold the band of ticks
    for (let y = Math.max(0, cy - 4); y <= Math.min(rows - 1, cy + 4); y++)
      for (let x = Math.max(0, cx - 4); x <= Math.min(columns - 1, cx + 4); x++) {
        const across = Math.abs(-(x - cx) * Math.sin(angle) + (y - cy) * Math.cos(angle));
        if (across > 0.75) continue;
        for (let b = -1; b <= 1; b++) taken[((bin + b + BINS) % BINS) * cells + y * columns + x] = 1;
      }
    if (tried++ >= options.maxTried) break;
    const seed = measureSeed(image, options, energy, columns, rows, cx, cy, bin);
    if (seed) seeds.push(seed);
  }
  return inTurn(seeds);
}

/** More than can be tried: each place tried takes its neighbours with it. */
const STRONGEST_KEPT = 24000;

/** The best `count` (or a few more), best first. Patterned tables give many more, and sorting all takes long. */
function strongest<T extends { score: number }>(found: T[], count: number): T[] {
  let kept = found;
  if (found.length > 1.2 * count) {
    const BUCKETS = 512;
    let top = 0;
    for (const f of found) if (f.score > top) top = f.score;
    const histogram = new Int32Array(BUCKETS + 1);
    for (const f of found) histogram[Math.floor((f.score / top) * BUCKETS)]!++;
    let bucket = BUCKETS;
    let sum = histogram[bucket]!;
    while (bucket > 0 && sum < count) sum += histogram[--bucket]!;
    const least = (bucket * top) / BUCKETS;
    kept = found.filter((f) => f.score >= least);
  }
  return kept.sort((p, q) => q.score - p.score);
}

function sumAt(sums: Float32Array, columns: number, rows: number, x: number, y: number): number {
  return x < 0 || y < 0 || x >= columns || y >= rows ? 0 : sums[y * columns + x]!;
}

/**
 * Best first, but many of one pitch and direction give way to others: striped cloth repeats better than any
 * ruler, and fills the picture.
 */
function inTurn(seeds: Seed[]): Seed[] {
  seeds.sort((p, q) => q.periodicity - p.periodicity);
  const before = new Map<string, number>();
  const order = seeds.map((seed) => {
    const key = `${Math.round(Math.log(seed.pitchPx) / 0.12)} ${Math.round(seed.axisAngle / 0.26)}`;
    const n = before.get(key) ?? 0;
    before.set(key, n + 1);
    return { seed, rank: seed.periodicity - 0.06 * n };
  });
  return order.sort((p, q) => q.rank - p.rank).map((o) => o.seed);
}

/** Sum of clipped gradient magnitude per cell and direction of the gradient, [bin][cell]. */
function edgeEnergy(image: GrayImage, columns: number, rows: number): Float32Array {
  const cells = columns * rows;
  const energy = new Float32Array(BINS * cells);
  const w = image.widthPx;
  const d = image.data;
  // direction → bin through a table: an arctangent for each of millions of pixels would dominate the run time
  const SIDE = 63;
  const table = new Uint8Array(SIDE * SIDE);
  for (let j = 0; j < SIDE; j++)
    for (let i = 0; i < SIDE; i++) {
      const a = Math.atan2(j - 31, i - 31);
      table[j * SIDE + i] = ((Math.round((a / Math.PI) * BINS) % BINS) + BINS) % BINS;
    }
  const CLIP = 0.12;
  const FLOOR = 0.012;
  for (let cy = 0; cy < rows; cy++)
    for (let py = 0; py < CELL; py++) {
      const y = cy * CELL + py;
      if (y < 1 || y >= image.heightPx - 1) continue;
      const rowStart = y * w;
      for (let cx = 0; cx < columns; cx++) {
        const cell = cy * columns + cx;
        const end = Math.min((cx + 1) * CELL, w - 1);
        // every second pixel, in a checkerboard, tells as much of a cell
        for (let x = Math.max(1, cx * CELL) + (y & 1); x < end; x += 2) {
          const i = rowStart + x;
          const gx = d[i + 1]! - d[i - 1]!;
          const gy = d[i + w]! - d[i - w]!;
          const ax = gx < 0 ? -gx : gx;
          const ay = gy < 0 ? -gy : gy;
          const big = ax > ay ? ax : ay;
          if (big < FLOOR) continue;
          const k = 31 / big;
          const bin = table[((gy * k + 31.5) | 0) * SIDE + ((gx * k + 31.5) | 0)]!;
          energy[bin * cells + cell]! += 2 * ((big > CLIP ? CLIP : big) - FLOOR);
        }
      }
    }
  return energy;
}

const SUB_BANDS = [-4, 4];
const signal = new Float64Array(FFT_SIZE);
const column = new Float64Array(WINDOW);
const row = new Float64Array(WINDOW);
const bins = new Float64Array(FFT_SIZE / 2 + 1);
const spectrum = new Float64Array(2 * FFT_SIZE);

function measureSeed(
  image: GrayImage,
  options: FindSeedsOptions,
  energy: Float32Array,
  columns: number,
  rows: number,
  cx: number,
  cy: number,
  bin: number,
): Seed | null {
  const axisAngle = (bin * Math.PI) / BINS;
  const cells = columns * rows;
  // mean direction of the gradients near, as a double angle, tells the ticks' own direction to a degree or two
  let c = 0;
  let s = 0;
  for (let step = -4; step <= 4; step++) {
    const x = cx + Math.round(step * Math.cos(axisAngle));
    const y = cy + Math.round(step * Math.sin(axisAngle));
    if (x < 0 || y < 0 || x >= columns || y >= rows) continue;
    for (let b = -2; b <= 2; b++) {
      const e = energy[((bin + b + BINS) % BINS) * cells + y * columns + x]!;
      const a = (2 * (bin + b) * Math.PI) / BINS;
      c += e * Math.cos(a);
      s += e * Math.sin(a);
    }
  }
  let gradient = 0.5 * Math.atan2(s, c);
  while (gradient - axisAngle > Math.PI / 2) gradient -= Math.PI;
  while (gradient - axisAngle < -Math.PI / 2) gradient += Math.PI;
  const tickAngle = gradient + Math.PI / 2;
  const ox = cx * CELL + (CELL - 1) / 2;
  const oy = cy * CELL + (CELL - 1) / 2;
  let best: Seed | null = null;
  for (const offset of SUB_BANDS) {
    const x = ox + offset * Math.cos(tickAngle);
    const y = oy + offset * Math.sin(tickAngle);
    const peak = periodicityOf(image, options, x, y, axisAngle, tickAngle);
    if (peak && (!best || peak.periodicity > best.periodicity))
      best = { x, y, axisAngle, tickAngle, ...peak };
  }
  return best;
}

/** Power in a bin and two on each side: perspective changes the pitch along the run. */
function around(p: Float64Array, k: number): number {
  let sum = 0;
  for (let j = Math.max(0, k - 2); j <= Math.min(p.length - 1, k + 2); j++) sum += p[j]!;
  return sum;
}

/** Strongest repetition along the run through (x, y), from the mean of four rows; null in empty places. */
export function periodicityOf(
  image: GrayImage,
  options: { minPitchPx: number; maxPitchPx: number },
  x: number,
  y: number,
  axisAngle: number,
  tickAngle: number,
): { pitchPx: number; periodicity: number } | null {
  const ux = Math.cos(axisAngle);
  const uy = Math.sin(axisAngle);
  const vx = Math.cos(tickAngle);
  const vy = Math.sin(tickAngle);
  signal.fill(0);
  column.fill(0);
  for (let r = -2; r <= 2; r += 4 / 3) {
    const start = -WINDOW / 2;
    sampleLine(image, x + start * ux + r * vx, y + start * uy + r * vy, ux, uy, WINDOW, row);
    for (let i = 0; i < WINDOW; i++) column[i]! += row[i]!;
  }
  let previous = NaN;
  let power = 0;
  let inside = 0;
  for (let i = 0; i < WINDOW; i++) {
    const sum = column[i]! / 4;
    if (!Number.isNaN(sum) && !Number.isNaN(previous)) {
      const difference = Math.max(-0.25, Math.min(0.25, sum - previous));
      signal[i] = difference * hann[i]!;
      power += signal[i]! ** 2;
      inside++;
    }
    previous = sum;
  }
  if (inside < WINDOW * 0.5 || power < 1e-4) return null;
  fft.realTransform(spectrum as unknown as number[], signal as unknown as number[]);
  const half = FFT_SIZE / 2;
  const p = bins;
  let total = 0;
  for (let k = 0; k <= half; k++) {
    p[k] = spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2;
    if (k >= 4) total += p[k]!;
  }
  const low = Math.max(6, Math.floor(FFT_SIZE / options.maxPitchPx));
  const high = Math.min(half - 2, Math.ceil(FFT_SIZE / options.minPitchPx));
  let bestK = 0;
  let bestScore = 0;
  for (let k = low; k <= high; k++) {
    if (p[k]! < p[k - 1]! || p[k]! < p[k + 1]!) continue;
    const first = around(p, k);
    const second = 2 * k <= half ? around(p, 2 * k) : 0;
    const third = 3 * k <= half ? around(p, 3 * k) : 0;
    // thin lines are as strong in their harmonics; but a pitch that shows only in them is no pitch
    if (first < 0.06 * Math.max(second, third)) continue;
    const score = (first + second + third) / total;
    if (score > bestScore) {
      bestScore = score;
      bestK = k;
    }
  }
  if (!bestK) return null;
  const l = Math.sqrt(p[bestK - 1]!);
  const m = Math.sqrt(p[bestK]!);
  const r = Math.sqrt(p[bestK + 1]!);
  const denominator = l - 2 * m + r;
  const delta = denominator < 0 ? (0.5 * (l - r)) / denominator : 0;
  return { pitchPx: FFT_SIZE / (bestK + delta), periodicity: bestScore };
}
