import { mendCount } from './mendCount.ts';
import { fitPolynomial, type StraightBand } from './straightenBand.ts';

/** One tick. `along` in px of the level, on the row in the middle of the shortest ticks. */
export interface Tick {
  /** Whole number, counted along the band; gaps are where ticks were not seen. */
  index: number;
  along: number;
  /** Size of what lies across the band here against the run's middle, by perspective. */
  nearness: number;
  /** How far the tick reaches from the middle of the shortest ticks to the row's two sides, px at the run's middle. */
  reachUp: number;
  reachDown: number;
  /** Contrast at the shortest ticks' rows against its neighbours' median. */
  strength: number;
}

export interface TickRun {
  ticks: Tick[];
  /** Dark ticks on a light body: −1; light on dark: +1. */
  polarity: 1 | -1;
  pitchPx: number;
  /** Rows (px across) between which the shortest ticks lie. */
  from: number;
  to: number;
  /** Spread of tick positions about a smooth curve, in pitches. */
  jitter: number;
  /** Share of expected ticks that were seen. */
  completeness: number;
  /** Response of tick k at row r, 1 = as strong as the shortest ticks: [tick × rows]. */
  response: Float32Array;
  rows: number;
}

/** Mean of the rows between two coordinates across, per column; NaN where all are outside. */
export function rowMean(band: StraightBand, from: number, to: number): Float64Array {
  const a = Math.max(0, Math.round(from - band.acrossStart));
  const b = Math.min(band.rows - 1, Math.round(to - band.acrossStart));
  const out = new Float64Array(band.columns);
  for (let i = 0; i < band.columns; i++) {
    let s = 0;
    let n = 0;
    for (let r = a; r <= b; r++) {
      const v = band.data[r * band.columns + i]!;
      if (!Number.isNaN(v)) {
        s += v;
        n++;
      }
    }
    out[i] = n ? s / n : NaN;
  }
  return out;
}

/**
 * Position of one line near `around`, by the phase of the brightness over one pitch; null when it is not there.
 * `weight` is the line's contrast (positive for the polarity asked).
 */
export function linePosition(
  signal: Float64Array,
  around: number,
  pitchColumns: number,
  polarity: number,
): { at: number; contrast: number } | null {
  let at = around;
  let contrast = 0;
  for (let round = 0; round < 3; round++) {
    const half = 0.62 * pitchColumns;
    const a = Math.max(0, Math.ceil(at - half));
    const b = Math.min(signal.length - 1, Math.floor(at + half));
    if (b - a < 3) return null;
    let mean = 0;
    let weightSum = 0;
    for (let i = a; i <= b; i++) {
      const v = signal[i]!;
      if (Number.isNaN(v)) return null;
      const w = 1 + Math.cos((Math.PI * (i - at)) / half);
      mean += w * v;
      weightSum += w;
    }
    mean /= weightSum;
    let c = 0;
    let s = 0;
    for (let i = a; i <= b; i++) {
      const w = 1 + Math.cos((Math.PI * (i - at)) / half);
      const z = polarity * (signal[i]! - mean) * w;
      const p = (2 * Math.PI * (i - at)) / pitchColumns;
      c += z * Math.cos(p);
      s += z * Math.sin(p);
    }
    contrast = (2 * c) / weightSum;
    const shift = (Math.atan2(s, c) / (2 * Math.PI)) * pitchColumns;
    if (c <= 0 && round > 0) return null;
    at += Math.max(-0.3 * pitchColumns, Math.min(0.3 * pitchColumns, shift));
    if (Math.abs(at - around) > 0.4 * pitchColumns) return null;
    if (Math.abs(shift) < 0.002 * pitchColumns) break;
  }
  return { at, contrast };
}

/** Rows of the band where lines at the pitch are strong around its middle: the shortest ticks. */
function shortestTickRows(depthPx: number): { from: number; to: number } {
  return { from: -0.3 * depthPx, to: 0.3 * depthPx };
}

/**
 * Reads the ticks of a straightened band one after another: position by phase, then how far each reaches.
 * Returns null when fewer than 12 hold together.
 */
export function readTicks(band: StraightBand, depthPx: number, polarity: 1 | -1): TickRun | null {
  const { from, to } = shortestTickRows(depthPx);
  const signal = rowMean(band, from, to);
  const k = band.columnsPerPx;
  const pitchColumns = (column: number): number => band.pitchAt(band.alongStart + column / k) * k;

  // start in the middle of the longest stretch of good contrast, then walk both ways
  const middle = Math.floor(band.columns / 2);
  let start: { at: number; contrast: number } | null = null;
  for (let d = 0; d < band.columns * 0.45 && !start; d += 7)
    for (const column of [middle + d, middle - d]) {
      const p = pitchColumns(column);
      const hit = strongestNear(signal, column, p, polarity);
      if (hit && !start) start = hit;
    }
  if (!start) return null;
  const positions = new Map<number, { at: number; contrast: number }>([[0, start]]);
  for (const sign of [1, -1]) {
    let at = start.at;
    let index = 0;
    let pitch = pitchColumns(at);
    let missed = 0;
    let contrast = start.contrast;
    while (missed <= 10) {
      index += sign;
      const expected = at + sign * pitch * (missed + 1);
      if (expected < 0 || expected >= band.columns) break;
      const hit = linePosition(signal, expected, pitch, polarity);
      if (!hit || hit.contrast < 0.25 * contrast) {
        missed++;
        continue;
      }
      const step = Math.abs(hit.at - at) / (missed + 1);
      // the band's own pitch steers; a single line moves it little
      const rough = pitchColumns(hit.at);
      pitch = 0.8 * pitch + 0.1 * step + 0.1 * rough;
      contrast = 0.9 * contrast + 0.1 * hit.contrast;
      positions.set(index, hit);
      at = hit.at;
      missed = 0;
    }
  }
  const indices = [...positions.keys()].sort((p, q) => p - q);
  if (indices.length < 12) return null;
  const found = mendCount(indices.map((index) => ({ index, ...positions.get(index)! })));

  const pitchPx =
    medianOf(found.slice(1).map((f, i) => (f.at - found[i]!.at) / (f.index - found[i]!.index))) / k;

  const shape = { polarity, pitchPx, from, to };
  return runOf(
    band,
    found.map((f) => ({
      index: f.index,
      along: band.alongStart + f.at / k,
      // along a line seen in perspective the pitch goes as 1/w², what lies across it as 1/w
      nearness: Math.sqrt(pitchColumns(f.at) / k / pitchPx),
    })),
    shape,
    HALF_WAY,
  );
}

/** How far from a tick its gaps are looked at, pitches. */
const HALF_WAY = 0.5;

/** The same ticks, each held against what lies this far from it (pitches) instead of half way to the next. */
export function heldAgainst(band: StraightBand, run: TickRun, gap: number): TickRun {
  return runOf(band, run.ticks, run, gap);
}

/** How far ticks reach that lie at known places. */
function runOf(
  band: StraightBand,
  places: readonly Pick<Tick, 'index' | 'along' | 'nearness'>[],
  shape: Pick<TickRun, 'polarity' | 'pitchPx' | 'from' | 'to'>,
  gap: number,
): TickRun {
  const { polarity, pitchPx, from, to } = shape;
  const k = band.columnsPerPx;
  // response along each tick: its own columns against the gaps on both sides
  const rows = band.rows;
  const response = new Float32Array(places.length * rows);
  const strengths = new Float64Array(places.length);
  const zeroRow = -band.acrossStart;
  const a = Math.max(0, Math.round(zeroRow + from));
  const b = Math.min(rows - 1, Math.round(zeroRow + to));
  for (let t = 0; t < places.length; t++) {
    const { along } = places[t]!;
    const at = (along - band.alongStart) * k;
    const p = band.pitchAt(along) * k;
    for (let r = 0; r < rows; r++) response[t * rows + r] = lineContrast(band, r, at, p, polarity, gap);
    let s = 0;
    for (let r = a; r <= b; r++) s += response[t * rows + r]! || 0;
    strengths[t] = s / (b - a + 1);
  }
  const local = strengths.map((_, t) =>
    Math.max(
      1e-6,
      medianOf(Array.from(strengths.subarray(Math.max(0, t - 7), Math.min(places.length, t + 8)))),
    ),
  );
  for (let t = 0; t < places.length; t++) for (let r = 0; r < rows; r++) response[t * rows + r]! /= local[t]!;

  const ticks: Tick[] = places.map(({ index, along, nearness }, t) => {
    const profile = response.subarray(t * rows, (t + 1) * rows);
    return {
      index,
      along,
      reachUp: reachOf(profile, zeroRow, -1, pitchPx) / nearness,
      reachDown: reachOf(profile, zeroRow, 1, pitchPx) / nearness,
      nearness,
      strength: strengths[t]! / local[t]!,
    };
  });
  return { ticks, polarity, pitchPx, from, to, ...evennessOf(ticks), response, rows };
}

/** Those ticks of a run for which `keep` is true. */
export function someTicks(run: TickRun, keep: (tick: Tick, i: number) => boolean): TickRun {
  const kept = run.ticks.map((_, i) => i).filter((i) => keep(run.ticks[i]!, i));
  if (kept.length === run.ticks.length) return run;
  const response = new Float32Array(kept.length * run.rows);
  kept.forEach((i, k) => response.set(run.response.subarray(i * run.rows, (i + 1) * run.rows), k * run.rows));
  return { ...run, ticks: kept.map((i) => run.ticks[i]!), response };
}

/** Spread of positions about a smooth curve, in pitches, and the share of expected ticks that were seen. */
export function evennessOf(ticks: readonly Tick[]): Pick<TickRun, 'jitter' | 'completeness'> {
  const expected = ticks.length ? ticks[ticks.length - 1]!.index - ticks[0]!.index + 1 : 1;
  return { jitter: positionJitter(ticks), completeness: ticks.length / expected };
}

/**
 * The ticks' own direction along the band (radians, as `StraightBand.leanAt`), from where each tick lies in
 * the two halves of its depth: what lies beside the scale disturbs this less than the band's mean phase.
 * Null with too few ticks.
 */
export function leanOfTicks(band: StraightBand, run: TickRun): ((along: number) => number) | null {
  const depth = run.to - run.from;
  const k = band.columnsPerPx;
  const halves = [
    rowMean(band, run.from - 0.25 * depth, -0.12 * depth),
    rowMean(band, 0.12 * depth, run.to + 0.25 * depth),
  ];
  // from the middle of one half to that of the other
  const apart = 0.87 * depth;
  const x: number[] = [];
  const y: number[] = [];
  for (const t of run.ticks) {
    const pitch = band.pitchAt(t.along) * k;
    const at = (t.along - band.alongStart) * k;
    const a = linePosition(halves[0]!, at, pitch, run.polarity);
    const b = linePosition(halves[1]!, at, pitch, run.polarity);
    if (!a || !b || Math.abs(a.at - b.at) > 0.5 * pitch) continue;
    const slope = (b.at - a.at) / k / apart;
    const lean = band.leanAt(t.along);
    x.push(t.along);
    y.push(Math.atan2(Math.sin(lean) - slope, Math.cos(lean)));
  }
  if (x.length < 12) return null;
  return fitPolynomial(x, y, x.length >= 40 ? 2 : 1);
}

/**
 * How far across (px) the middle of the shortest ticks lies from the band's own, along the band: the band follows
 * the repetition, which numerals and longer ticks pull aside, but ticks begin on one smooth line.
 */
export function middleOfTicks(run: TickRun): (along: number) => number {
  const x: number[] = [];
  const y: number[] = [];
  // each holds some of the shortest ticks, and a short run still has enough blocks to show a bend
  const BLOCK = run.ticks.length < 56 ? 8 : 16;
  const shortest = (v: number[]): number => [...v].sort((p, q) => p - q)[Math.floor(0.2 * v.length)]!;
  for (let i = 0; i + BLOCK <= run.ticks.length; i += BLOCK / 2) {
    const part = run.ticks.slice(i, i + BLOCK);
    x.push(part[BLOCK / 2]!.along);
    y.push((shortest(part.map((t) => t.reachDown)) - shortest(part.map((t) => t.reachUp))) / 2);
  }
  if (x.length < 4) return () => 0;
  return fitPolynomial(x, y, x.length >= 8 ? 3 : x.length >= 6 ? 2 : 1);
}

function strongestNear(
  signal: Float64Array,
  column: number,
  pitch: number,
  polarity: number,
): { at: number; contrast: number } | null {
  let best: { at: number; contrast: number } | null = null;
  for (let d = 0; d < 1; d += 0.25) {
    const hit = linePosition(signal, column + d * pitch, pitch, polarity);
    if (hit && (!best || hit.contrast > best.contrast)) best = hit;
  }
  return best && best.contrast > 0.01 ? best : null;
}

/** Mean brightness on the line less that in the gaps beside it, signed so that a tick is positive. */
export function lineContrast(
  band: StraightBand,
  row: number,
  column: number,
  pitchColumns: number,
  polarity: number,
  gapPitches = HALF_WAY,
): number {
  const o = row * band.columns;
  const near = 0.12 * pitchColumns;
  const on =
    (between(band, o, column - near) + 2 * between(band, o, column) + between(band, o, column + near)) / 4;
  const gap = gapPitches * pitchColumns;
  const off =
    (between(band, o, column - gap) +
      between(band, o, column + gap) +
      0.5 * (between(band, o, column - 0.8 * gap) + between(band, o, column + 0.8 * gap))) /
    3;
  return polarity * (on - off);
}

/** Value at a fractional column of the row that starts at `offset`; NaN outside. */
function between(band: StraightBand, offset: number, column: number): number {
  const i = Math.floor(column);
  if (i < 0 || i >= band.columns - 1) return NaN;
  const f = column - i;
  return band.data[offset + i]! * (1 - f) + band.data[offset + i + 1]! * f;
}
/**
 * Where the tick ends: the reach that best splits its profile into "there" (1) and "not there" (0),
 * that is, the greatest running sum of response − ½. Short gaps are bridged; what lies beyond a gap
 * of more than ¾ pitch (a numeral) is not the tick's.
 */
export function reachOf(profile: Float32Array, zeroRow: number, sign: 1 | -1, pitchPx: number): number {
  let sum = 0;
  let best = 0;
  let at = 0;
  const give = 0.35 * Math.max(3, 0.75 * pitchPx);
  for (let d = 0; ; d++) {
    const r = zeroRow + sign * d;
    if (r < 0 || r >= profile.length) break;
    const v = profile[r]!;
    if (Number.isNaN(v)) break;
    sum += Math.max(-0.5, Math.min(0.5, v - 0.5));
    if (sum > best) {
      best = sum;
      const next = profile[r + sign];
      // to a fraction of a row: where levels differ by little more than a row, whole ones hide which is which
      at = d + (next !== undefined && next < 0.5 && v > 0.5 ? Math.min(1, (v - 0.5) / (v - next)) : 0.5);
    }
    if (sum < best - give) break;
  }
  return at;
}

/** Spread (median absolute, as a standard deviation) of positions about the line through four neighbours. */
function positionJitter(found: readonly Pick<Tick, 'index' | 'along'>[]): number {
  const off: number[] = [];
  for (let i = 2; i < found.length - 2; i++) {
    const [p, q, m, r, s] = [found[i - 2]!, found[i - 1]!, found[i]!, found[i + 1]!, found[i + 2]!];
    if (s.index - p.index !== 4) continue;
    const pitch = (s.along - p.along) / 4;
    off.push(Math.abs(m.along - (p.along + q.along + r.along + s.along) / 4) / pitch);
  }
  return off.length < 4 ? 1 : (1.4826 * medianOf(off)) / Math.sqrt(1.25);
}

/** Where ticks begin, px from the middle of the shortest ones: so far these reach on their other side as well. */
export const beginOf = (ticks: readonly Tick[], side: 1 | -1): number =>
  medianOf(ticks.map((t) => (side > 0 ? t.reachUp : t.reachDown)));

export function medianOf(values: number[]): number {
  if (values.length === 0) return NaN;
  const sorted = [...values].sort((p, q) => p - q);
  const m = sorted.length >> 1;
  return sorted.length % 2 ? sorted[m]! : (sorted[m - 1]! + sorted[m]!) / 2;
}
