import type { GrayImage, Point } from '../../types.ts';
import { toDecodedPx, type Level } from './halve.ts';
import type { Tick } from './readTicks.ts';
import { fitPolynomial, type StraightBand } from './straightenBand.ts';

/** A place on a fine tick that shows only in the sum of many: `index` counts the coarse ticks, in fractions. */
export interface HiddenTick {
  index: number;
  /** Px of the level the coarse ticks were read on. */
  along: number;
  across: number;
  sigmaPx: number;
}

/** Fine ticks between coarse ones, too close or too faint to be read one by one. */
export interface HiddenTicks {
  /** Rows between which they lie, px of the level, from where they begin to where they end. */
  fromAcross: number;
  toAcross: number;
  /** Power of the repetition against what chance gives there, 1 = chance. */
  strength: number;
  /** The same against the repetitions one more and one less for each coarse tick, and two more and two less. */
  excess: number;
  /** Share of the run along which they show. */
  share: number;
  /** Power of what differs between every other coarse tick against what they share: much, and two make a whole one. */
  alternation: number;
  ticks: HiddenTick[];
}

/** Length of a window and the step from one to the next, coarse ticks. */
const WINDOW = 8;
const STEP = 2;
/** Sum of windows that overlap so: what chance gives their sum, against the sum of what it gives each. */
const OVERLAP = 8 / 3;
/** Fewest coarse ticks. */
const LEAST_COARSE = 12;
/** How far to both sides of the coarse ticks' middle the fine ones are looked for, coarse pitches. */
const REACH = 1.7;
/** Thickness of the strips that are looked at, coarse pitches. */
const STRIP = 0.1;
/** Fine ticks for each coarse one: millimetres for each centimetre, or for each half of one. */
export type PerCoarse = 10 | 5;
/** Frequencies looked at, in halves of a coarse tick's, from the fine ticks' own: between the wholes lies what chance gives. */
const AROUND = [-4, -3, -2, -1, 0, 1, 2, 3, 4];
const CHANCE = [-3, -1, 1, 3];
/** Those of the coarse ticks themselves and of every other one of them. */
const COARSE_HALVES = [2, 3];
/** Fine ticks closer than this, px of the photo, cannot be seen; where they lie wider they are read singly. */
const FINE_PX = [1.3, 11] as const;
/** From this on a strip shows fine ticks, and as many windows must lie above chance by this much. */
const SHOWN = 9;
const SHOWN_IN_WINDOW = 3;
/** Fine ticks are short: the strips that show them are no deeper than this, coarse pitches. */
const DEEPEST = 0.95;

/** Whether fine ticks between coarse ones this far apart (px of the photo) may be seen in their sum. */
export const mayHide = (pitchPx: number, perCoarse: PerCoarse): boolean =>
  pitchPx / perCoarse >= FINE_PX[0] && pitchPx / perCoarse <= FINE_PX[1];

const halvesOf = (perCoarse: PerCoarse): number[] => [
  ...COARSE_HALVES,
  ...AROUND.map((h) => 2 * perCoarse + h),
];

interface Strip {
  /** Fourier sums by window and frequency. */
  real: Float64Array;
  imaginary: Float64Array;
}

/**
 * Looks for tenths between the ticks of a coarse run. Where millimetres are hardly 2 pixels apart, or
 * blurred, no single one can be read, but thirty centimetres hold three hundred of them: their sum at exactly ten for
 * each coarse tick stands out from nine and eleven and from what lies between, as inches divided by halves never do.
 * Pixels are taken as they are, without interpolation, so that ticks closer than 2 pixels are seen as well, by where
 * they fall between pixels (a stroboscope's effect).
 *
 * @param ticks of the coarse run, px of the level
 * @returns null where no such ticks stand out
 */
export function findHiddenTicks(
  gray: GrayImage,
  level: Level,
  band: StraightBand,
  ticks: readonly Tick[],
  perCoarse: PerCoarse,
): HiddenTicks | null {
  const coarse = ticks.length;
  if (coarse < LEAST_COARSE) return null;
  const first = ticks[0]!;
  const last = ticks[coarse - 1]!;
  const span = last.index - first.index;
  const along = ticks.map((t) => t.along);
  const indexAt = fitPolynomial(
    along,
    ticks.map((t) => t.index - first.index),
    coarse >= 20 ? 3 : 2,
  );
  const pitch = (last.along - first.along) / span;
  const pitchPx = pitch * level.factor;
  if (!mayHide(pitchPx, perCoarse)) return null;
  const windows = Math.floor((span - WINDOW) / STEP) + 1;
  if (windows < 2) return null;

  const strips = measure(gray, level, band, first.along, last.along, indexAt, pitch, windows, perCoarse);
  const found = judge(strips, windows, perCoarse);
  if (!found) return null;
  const acrossOf = (strip: number): number => (strip * STRIP - REACH) * pitch;
  return {
    ...found,
    fromAcross: acrossOf(found.from),
    toAcross: acrossOf(found.to + 1),
    ticks: placeTicks(strips, found.from, found.to, windows, pitch, first, indexAt, acrossOf, perCoarse),
  };
}

function measure(
  gray: GrayImage,
  level: Level,
  band: StraightBand,
  start: number,
  end: number,
  indexAt: (along: number) => number,
  pitch: number,
  windows: number,
  perCoarse: PerCoarse,
): Strip[] {
  const halves = halvesOf(perCoarse);
  const begin = 2 * perCoarse + AROUND[0]!;
  const count = Math.round((2 * REACH) / STRIP);
  const n = halves.length;
  const strips: Strip[] = Array.from({ length: count }, () => ({
    real: new Float64Array(windows * n),
    imaginary: new Float64Array(windows * n),
  }));
  const step = 1 / level.factor;
  const { widthPx, heightPx, data } = gray;
  const columns = Math.floor((end - start) / step) + 1;
  // the direction along the scale, px of the photo, for what rounding to whole pixels moves a sample by
  const axis = (u: number): Point => {
    const p = band.toPoint(u - 1, 0);
    const q = band.toPoint(u + 1, 0);
    const length = Math.hypot(q.x - p.x, q.y - p.y);
    return { x: (q.x - p.x) / length, y: (q.y - p.y) / length };
  };
  const axes = Array.from({ length: columns }, (_, i) => axis(start + i * step));
  const cos = new Float64Array(n);
  const sin = new Float64Array(n);
  const weights = new Float64Array(windows);
  const sums = new Float64Array(windows);
  const bright = new Float64Array(windows);
  const bareReal = new Float64Array(windows * n);
  const bareImaginary = new Float64Array(windows * n);
  for (let s = 0; s < count; s++) {
    const { real, imaginary } = strips[s]!;
    sums.fill(0);
    bright.fill(0);
    bareReal.fill(0);
    bareImaginary.fill(0);
    const from = (s * STRIP - REACH) * pitch;
    const rows = Math.max(1, Math.round((STRIP * pitch) / step));
    for (let r = 0; r < rows; r++) {
      const v = from + ((r + 0.5) * STRIP * pitch) / rows;
      for (let i = 0; i < columns; i++) {
        const u = start + i * step;
        const p = band.toPoint(u, v);
        const x = toDecodedPx(level, p.x);
        const y = toDecodedPx(level, p.y);
        const px = Math.round(x);
        const py = Math.round(y);
        if (px < 0 || py < 0 || px >= widthPx || py >= heightPx) continue;
        const value = data[py * widthPx + px]!;
        const a = axes[i]!;
        const index = indexAt(u + ((px - x) * a.x + (py - y) * a.y) * step);
        const low = Math.max(0, Math.ceil((index - WINDOW) / STEP));
        const high = Math.min(windows - 1, Math.floor(index / STEP));
        if (low > high) continue;
        // one turn for each frequency from the one before
        const c1 = Math.cos(Math.PI * index);
        const s1 = -Math.sin(Math.PI * index);
        let c = c1 * c1 - s1 * s1;
        let d = 2 * c1 * s1;
        for (let k = 0; k < n; k++) {
          if (k === COARSE_HALVES.length) {
            c = Math.cos(begin * Math.PI * index);
            d = -Math.sin(begin * Math.PI * index);
          } else if (k > 0) {
            const turned = c * c1 - d * s1;
            d = c * s1 + d * c1;
            c = turned;
          }
          cos[k] = c;
          sin[k] = d;
        }
        for (let w = low; w <= high; w++) {
          const weight = Math.sin((Math.PI * (index - w * STEP)) / WINDOW) ** 2;
          weights[w] = weight;
          sums[w]! += weight;
          bright[w]! += weight * value;
          const o = w * n;
          for (let k = 0; k < n; k++) {
            const wc = weight * cos[k]!;
            const wd = weight * sin[k]!;
            bareReal[o + k]! += wc;
            bareImaginary[o + k]! += wd;
            real[o + k]! += value * wc;
            imaginary[o + k]! += value * wd;
          }
        }
      }
    }
    // without the mean of each window, which would leak into every frequency
    for (let w = 0; w < windows; w++) {
      const mean = sums[w]! > 0 ? bright[w]! / sums[w]! : 0;
      for (let k = 0; k < n; k++) {
        real[w * n + k]! -= mean * bareReal[w * n + k]!;
        imaginary[w * n + k]! -= mean * bareImaginary[w * n + k]!;
      }
    }
  }
  return strips;
}

/** Power, by frequency, of the sum over all windows of some strips laid together, and the power that chance gives it. */
function lookAt(
  strips: readonly Strip[],
  windows: number,
  perCoarse: PerCoarse,
): { joint(half: number): number; single(half: number, window: number): number; noise: number } {
  const halves = halvesOf(perCoarse);
  const n = halves.length;
  const sum = (half: number, low: number, high: number): number => {
    const k = halves.indexOf(half);
    let a = 0;
    let b = 0;
    for (const { real, imaginary } of strips)
      for (let w = low; w < high; w++) {
        a += real[w * n + k]!;
        b += imaginary[w * n + k]!;
      }
    return a * a + b * b;
  };
  const single = (half: number, w: number): number => sum(half, w, w + 1);
  // ticks closer than two pixels show a second time, where they beat against the pixels: perhaps at one of these
  const [, ...others] = CHANCE.map((h) => {
    let power = 0;
    for (let w = 0; w < windows; w++) power += single(2 * perCoarse + h, w);
    return power;
  }).sort((p, q) => q - p);
  const noise = 1e-12 + others.reduce((p, q) => p + q) / others.length;
  return { joint: (half) => sum(half, 0, windows) / (OVERLAP * noise), single, noise };
}

interface Judged {
  from: number;
  to: number;
  strength: number;
  excess: number;
  share: number;
  alternation: number;
}

function judge(strips: Strip[], windows: number, perCoarse: PerCoarse): Judged | null {
  const own = 2 * perCoarse;
  let best: Omit<Judged, 'share' | 'alternation'> | null = null;
  const weigh = (from: number, to: number): { strength: number; excess: number } => {
    const { joint } = lookAt(strips.slice(from, to + 1), windows, perCoarse);
    const strength = joint(own);
    const beside = Math.max(joint(own - 2), joint(own + 2), (joint(own - 4) + joint(own + 4)) / 2, 1);
    return { strength, excess: strength / beside };
  };
  const alone = strips.map((_, i) => weigh(i, i));
  for (let from = 0; from < strips.length; from++)
    for (let to = from; to < Math.min(strips.length, from + 6); to++) {
      if (alone[from]!.strength < WORTH || alone[to]!.strength < WORTH) continue;
      const { strength, excess } = to === from ? alone[from]! : weigh(from, to);
      if (excess > MIN_EXCESS && strength > (best?.strength ?? SHOWN)) best = { from, to, strength, excess };
    }
  if (!best) return null;
  const { strength, excess } = best;
  let { from, to } = best;
  const least = Math.max(SHOWN / 2, FADES * Math.max(...alone.slice(from, to + 1).map((a) => a.strength)));
  const shows = (i: number): boolean => (alone[i]?.strength ?? 0) > least;
  while (shows(from - 1)) from--;
  while (shows(to + 1)) to++;
  if ((to - from + 1) * STRIP > DEEPEST) return null;
  const zone = lookAt(strips.slice(from, to + 1), windows, perCoarse);
  let shown = 0;
  for (let w = 0; w < windows; w++)
    if (zone.single(own, w) > (SHOWN_IN_WINDOW * zone.noise) / windows) shown++;
  const power = (half: number): number =>
    strips.reduce((s, strip, i) => {
      if (Math.min(Math.abs(i - from), Math.abs(i - to)) * STRIP > 1) return s;
      const look = lookAt([strip], windows, perCoarse);
      return s + look.joint(half) * look.noise;
    }, 0);
  return { from, to, strength, excess, share: shown / windows, alternation: power(3) / power(2) };
}

const MIN_EXCESS = 2.5;
/** Fine ticks end where they fade to this share of their power. */
const FADES = 0.15;
/** A strip weaker than this does not border what is laid together. */
const WORTH = 2;

/**
 * Where the fine ticks lie in the middle of each window. Over their whole depth at once: it is few pixels, and what
 * the rows say of the ticks' slant is wrong more often than it helps.
 */
function placeTicks(
  strips: Strip[],
  from: number,
  to: number,
  windows: number,
  pitch: number,
  first: Tick,
  indexAt: (along: number) => number,
  acrossOf: (strip: number) => number,
  perCoarse: PerCoarse,
): HiddenTick[] {
  const own = 2 * perCoarse;
  const halves = halvesOf(perCoarse);
  const n = halves.length;
  const k = halves.indexOf(own);
  const zone = strips.slice(from, to + 1);
  const look = lookAt(zone, windows, perCoarse);
  const out: HiddenTick[] = [];
  let reference: number | null = null;
  for (let w = 0; w < windows; w++) {
    const power = look.single(own, w);
    const noise = look.noise / windows;
    if (power < SHOWN_IN_WINDOW * noise) continue;
    const a = zone.reduce((s, strip) => s + strip.real[w * n + k]!, 0);
    const b = zone.reduce((s, strip) => s + strip.imaginary[w * n + k]!, 0);
    // ticks lie at index offset + m / perCoarse; the offset, to within one of them, is the same all along
    let offset = -Math.atan2(b, a) / (2 * Math.PI * perCoarse);
    reference ??= offset;
    offset -= Math.round((offset - reference) * perCoarse) / perCoarse;
    const centre = w * STEP + WINDOW / 2;
    const m = Math.round((centre - offset) * perCoarse);
    const seen = offset + m / perCoarse;
    // the run's own numbers bent to the ticks: where the run says `seen`, tick m lies
    let at = first.along + centre * pitch;
    const slope = (indexAt(at + 1) - indexAt(at - 1)) / 2 || 1 / pitch;
    for (let i = 0; i < 4; i++) at += (seen - indexAt(at)) / slope;
    out.push({
      index: m / perCoarse,
      along: at,
      across: (acrossOf(from) + acrossOf(to + 1)) / 2,
      sigmaPx: ((pitch / perCoarse) * Math.sqrt(noise / (2 * power))) / (2 * Math.PI),
    });
  }
  return out;
}
