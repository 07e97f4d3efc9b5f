import type { Reading } from './readGraduations.ts';
import { medianOf, type Tick } from './readTicks.ts';
import type { StraightBand } from './straightenBand.ts';

/** Height of a strip that is looked at along the scale, in pitches. */
const STRIP_PITCHES = 0.6;
/** How far from where ticks begin is looked: numbers stand below the longest of them, which is 1 (common practice). */
const DEEP = 1.85;
/** From here on no tick is seen any more, however blurred. */
const BELOW_TICKS = 1.12;
/** Cycles that are needed: fewer say nothing of every other one. */
const LEAST_CYCLES = 3;
/** Ticks over which a number may reach. */
const WIDTHS = [1, 2, 3] as const;
/** Ink beyond this many times the usual departure counts no more: digits differ, but all are digits. */
const MOST_INK = 4;
/** Ink left between numbers, against theirs: odd digits have somewhat less than even ones. */
const MOST_BETWEEN = 0.35;

/**
 * How surely only every other cycle of a graduation has a number, as 2 ln(odds); below 0 where each has one. Whole
 * inches and halves of one that look alike make sixteenths look like eighths, but halves have no numbers.
 *
 * In strips along the scale, what repeats with each cycle is held against what repeats with every other one: ink at
 * the same few ticks of all cycles alike, or of the even and the odd ones apart, which is charged for its freedom and
 * for all places that were tried (Schwarz, Ann. Stat. 6, 1978).
 *
 * @param period ticks in a cycle
 */
export function alternateCycles(
  { band, run, side, basePx, named }: Pick<Reading, 'band' | 'run' | 'side' | 'basePx' | 'named'>,
  period: number,
): number {
  const places = evenPlaces(run.ticks);
  const n = places.length;
  if (!named || n < LEAST_CYCLES * period) return 0;
  const height = Math.max(1, (STRIP_PITCHES * (places[n - 1]! - places[0]!)) / (n - 1));
  const charge = Math.log(n) + 2 * Math.log(period * WIDTHS.length);
  let evidence = 0;
  const length = named.reachesPx[0]! + basePx;
  for (let from = -basePx; from < DEEP * length - basePx; from += height) {
    const [a, b] = side > 0 ? [from, from + height] : [-from - height, -from];
    const bright = brightnessAt(band, places, a, b);
    if (bright.some(Number.isNaN)) continue;
    const ink = plain(
      bright.map((v) => run.polarity * v),
      2 * period,
    );
    const gain = n * everyOtherAt(ink, period);
    if (gain > charge) evidence += gain - charge;
    // ticks may all be alike, numbers not
    else if (-gain > charge && from + basePx > BELOW_TICKS * length) evidence += gain + charge;
  }
  return evidence;
}

/**
 * ln of how much less of a strip's ink is left where even and odd cycles are told apart, at the place where they explain
 * most; where both have their ink there, minus that of what each cycle's explains.
 */
function everyOtherAt(ink: Float64Array, period: number): number {
  const n = ink.length;
  const squares = ink.reduce((s, v) => s + v * v, 1e-12);
  let best = { left: Infinity, gain: 0 };
  for (const width of WIDTHS)
    for (let phase = 0; phase < period; phase++) {
      const [even, odd] = [phase, phase + period].map((at) => {
        let sum = 0;
        let count = 0;
        for (let i = 0; i < n; i++)
          if ((i + 2 * period - at) % (2 * period) < width) {
            sum += ink[i]!;
            count++;
          }
        return { sum, count };
      }) as [Group, Group];
      if (even.count < 1 || odd.count < 1) continue;
      const both = { sum: even.sum + odd.sum, count: even.count + odd.count };
      // ink has a mean of 0
      const rest = { sum: -both.sum, count: n - both.count };
      const apart = squares - explained(even) - explained(odd) - explained(rest);
      const level = (g: Group): number => g.sum / g.count - rest.sum / rest.count;
      const [less, more] = [level(even), level(odd)].sort((p, q) => p - q) as [number, number];
      if (more <= 0 || apart >= best.left) continue;
      const alike = squares - explained(both) - explained(rest);
      const isEach = less > MOST_BETWEEN * more;
      best = { left: apart, gain: isEach ? -Math.log(squares / alike) : Math.log(alike / apart) };
    }
  return best.gain;
}

interface Group {
  sum: number;
  count: number;
}

const explained = ({ sum, count }: Group): number => sum ** 2 / Math.max(1, count);

/** Where all ticks are or would be, px along. */
function evenPlaces(ticks: readonly Tick[]): number[] {
  return ticks.flatMap((a, i) => {
    const b = ticks[i + 1];
    if (!b) return [a.along];
    const steps = b.index - a.index;
    return Array.from({ length: steps }, (_, k) => a.along + (k / steps) * (b.along - a.along));
  });
}

/** Mean brightness within half a pitch of each place, between two rows (px across); NaN outside the picture. */
function brightnessAt(band: StraightBand, places: readonly number[], from: number, to: number): number[] {
  const r0 = Math.max(0, Math.round(from - band.acrossStart));
  const r1 = Math.min(band.rows, Math.max(r0 + 1, Math.round(to - band.acrossStart)));
  const column = (along: number): number => Math.round((along - band.alongStart) * band.columnsPerPx);
  return places.map((at) => {
    const half = band.pitchAt(at) / 2;
    let sum = 0;
    let count = 0;
    for (let c = Math.max(0, column(at - half)); c < Math.min(band.columns, column(at + half)); c++)
      for (let r = r0; r < r1; r++) {
        const v = band.data[r * band.columns + c]!;
        if (Number.isNaN(v)) continue;
        sum += v;
        count++;
      }
    return count > 0 ? sum / count : NaN;
  });
}

/** Without what changes slowly along, outliers drawn in, about a mean of 0. */
function plain(bright: readonly number[], reach: number): Float64Array {
  const flat = bright.map((v, i) => v - medianOf(bright.slice(Math.max(0, i - reach), i + reach + 1)));
  const most = MOST_INK * 1.4826 * medianOf(flat.map(Math.abs));
  const drawnIn = flat.map((v) => Math.max(-most, Math.min(most, v)));
  const mean = drawnIn.reduce((s, v) => s + v, 0) / drawnIn.length;
  return Float64Array.from(drawnIn, (v) => v - mean);
}
