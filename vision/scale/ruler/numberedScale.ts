import type { Point } from '../../types.ts';
import type { SightedRulers } from '../../sight/sightRulers.ts';
import { toDecodedPx, type Level } from './halve.ts';
import { medianOf, type Tick } from './readTicks.ts';
import type { StraightBand } from './straightenBand.ts';

/** What a run of coarse marks on a ruler or tape shows, whose ticks in between are too fine to be read. */
export interface NumberedScale {
  /** Distance between marks as a share of the thing's width. */
  pitchOfWidth: number;
  /** Whether each mark has its own number, none (too faint), or only every other (or fourth) has. */
  numbers: 'each' | 'even' | 'odd' | 'some' | 'unseen';
  /** Rows, px across, of the thing's two edges. */
  edges: [top: number, bottom: number];
}

/** Steps across that are looked at, and along from mark to mark. */
const ROW_PITCHES = 0.06;
const PLACES = 20;
/** Rows laid together, as a share of the width. */
const BLOCK = 1 / 7;
/** Share of the marks at which the network has to see a ruler, for a row to be on it. */
const MOST = 0.5;
/** How far the edges lie from where the network sees them, as a share of the width. */
const EDGE_SLACK = 0.3;
/** What differs from mark to mark, against what does in the plainest rows: numbers do, ticks do not. */
const DIFFERENT = 3;
/** And against what all marks share, in the rows where they share most. */
const SHARE_OF_MARKS = 0.1;
/** Difference in ink between every other mark, or among four, against the mean: from here on not all are numbered. */
const MAX_ALTERNATION = 0.5;
const MAX_AMONG_FOUR = 1;
/**
 * Ink of a mark that surely has a number, as a quantile of all marks'; a mark with less than this share of it has none;
 * and how many marks may have none (worn ones, a zero, the end's), whichever they are.
 */
const NUMBERED_AT = 0.8;
const HARDLY_ANY = 0.25;
const MAX_BARE = 0.2;

/**
 * Looks at coarse marks along a ruler or tape that the network sees: how far apart they are for its width, and whether
 * each is numbered. Tapes are 13 to 20 mm wide (common practice), so that marks which all have their own number and lie
 * less than the width apart are centimetres: inches lie further apart than a tape is wide, and their halves are not
 * numbered.
 *
 * @returns null where the thing's two edges are not seen, or no marks are left
 */
export function seeNumberedScale(
  level: Level,
  band: StraightBand,
  ticks: readonly Tick[],
  polarity: 1 | -1,
  sighted: SightedRulers,
): NumberedScale | null {
  if (ticks.length < 2) return null;
  const pitch = medianOf(
    ticks.slice(1).map((t, i) => (t.along - ticks[i]!.along) / (t.index - ticks[i]!.index)),
  );
  const edges = edgesOf(level, band, ticks, pitch, sighted);
  if (!edges) return null;
  const [top, bottom] = edges;
  const width = bottom - top;
  const ink = inkByRow(band, ticks, polarity, top + 0.06 * width, bottom - 0.06 * width);
  return { pitchOfWidth: pitch / width, numbers: ink ? numbersIn(ink, ticks) : 'unseen', edges };
}

/** Rows (px across) of the thing's two edges: where the brightness changes most, near where the network sees them. */
function edgesOf(
  level: Level,
  band: StraightBand,
  ticks: readonly Tick[],
  pitch: number,
  sighted: SightedRulers,
): [top: number, bottom: number] | null {
  const toDecoded = (p: Point): Point => ({ x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) });
  const reach = -band.acrossStart;
  const step = Math.max(1, ROW_PITCHES * pitch);
  const seen = (across: number): number =>
    ticks.filter((t) => sighted.isOn(toDecoded(band.toPoint(t.along, across)))).length / ticks.length;
  if (seen(0) < MOST) return null;
  let top = 0;
  let bottom = 0;
  while (seen(top - step) >= MOST) if ((top -= step) < -reach) return null;
  while (seen(bottom + step) >= MOST) if ((bottom += step) > reach) return null;
  const slack = EDGE_SLACK * (bottom - top);
  const from = Math.round((ticks[0]!.along - band.alongStart) * band.columnsPerPx);
  const to = Math.round((ticks[ticks.length - 1]!.along - band.alongStart) * band.columnsPerPx);
  const bright = (across: number): number => {
    const r = Math.round(across) + reach;
    if (r < 0 || r >= band.rows) return NaN;
    let sum = 0;
    let n = 0;
    for (let i = Math.max(0, from); i <= Math.min(band.columns - 1, to); i++) {
      const v = band.data[r * band.columns + i]!;
      if (Number.isNaN(v)) continue;
      sum += v;
      n++;
    }
    return n > 0 ? sum / n : NaN;
  };
  const steepest = (around: number): number | null => {
    let best = 0;
    let at: number | null = null;
    for (let across = Math.round(around - slack); across <= around + slack; across++) {
      const d = Math.abs(bright(across + 1) + bright(across + 2) - bright(across - 1) - bright(across - 2));
      if (d > best) [best, at] = [d, across];
    }
    return at;
  };
  const low = steepest(top);
  const high = steepest(bottom);
  return low !== null && high !== null && high - low > 0.5 * (bottom - top) ? [low, high] : null;
}

/** Ink at each mark's surroundings: [block of rows][mark][place], 0 = as bright as the body there. */
function inkByRow(
  band: StraightBand,
  ticks: readonly Tick[],
  polarity: 1 | -1,
  top: number,
  bottom: number,
): Float64Array[][] | null {
  const blocks = Math.round(1 / BLOCK);
  const rows = (bottom - top) / blocks;
  if (rows < 1) return null;
  const k = band.columnsPerPx;
  return Array.from({ length: blocks }, (_, b) => {
    const from = Math.round(top + b * rows) - band.acrossStart;
    const to = Math.max(from + 1, Math.round(top + (b + 1) * rows) - band.acrossStart);
    return ticks.map((t) => {
      const pitch = band.pitchAt(t.along);
      const cell = new Float64Array(PLACES);
      for (let p = 0; p < PLACES; p++) {
        const column = Math.round((t.along + ((p + 0.5) / PLACES - 0.5) * pitch - band.alongStart) * k);
        let sum = 0;
        let n = 0;
        for (let r = Math.max(0, from); r < Math.min(band.rows, to); r++) {
          const v = column < 0 || column >= band.columns ? NaN : band.data[r * band.columns + column]!;
          if (Number.isNaN(v)) continue;
          sum += v;
          n++;
        }
        cell[p] = n > 0 ? (polarity * sum) / n : 0;
      }
      // the body is the brightest fifth of it (the darkest, where ink is light)
      const body = [...cell].sort((x, y) => x - y)[PLACES / 5]!;
      return cell.map((v) => Math.max(0, v - body));
    });
  });
}

function numbersIn(ink: readonly Float64Array[][], ticks: readonly Tick[]): NumberedScale['numbers'] {
  const mean = (values: readonly number[]): number => values.reduce((s, v) => s + v, 0) / values.length;
  const looks = ink.map((cells) => {
    const shared = Array.from({ length: PLACES }, (_, p) => mean(cells.map((c) => c[p]!)));
    const middle = mean(shared);
    return {
      cells,
      marks: mean(shared.map((v) => (v - middle) ** 2)),
      // half of the marks are better than a few that are blotted
      different: medianOf(cells.map((c) => mean(shared.map((v, p) => (c[p]! - v) ** 2)))),
    };
  });
  const plainest = Math.min(...looks.map((l) => l.different));
  const marks = Math.max(...looks.map((l) => l.marks));
  const numbered = looks.filter((l) => l.different > Math.max(DIFFERENT * plainest, SHARE_OF_MARKS * marks));
  if (numbered.length === 0) return 'unseen';
  const most = Math.max(...numbered.map((l) => l.different));
  let numbers: NumberedScale['numbers'] = 'each';
  for (const { cells, different } of numbered) {
    if (different < most / 3) continue;
    const amounts = cells.map((c) => mean([...c]));
    const all = mean(amounts);
    const much = [...amounts].sort((x, y) => x - y)[Math.floor(NUMBERED_AT * amounts.length)]!;
    const bare = amounts.filter((a) => a < HARDLY_ANY * much).length / amounts.length;
    const of = (modulus: number, rest: number): number => {
      const some = amounts.filter((_, i) => (((ticks[i]!.index - rest) % modulus) + modulus) % modulus === 0);
      return some.length > 0 ? medianOf(some) : all;
    };
    const [even, odd] = [of(2, 0), of(2, 1)];
    if (Math.abs(even - odd) > MAX_ALTERNATION * all) return even > odd ? 'even' : 'odd';
    const four = [0, 1, 2, 3].map((rest) => of(4, rest));
    if (Math.max(...four) - Math.min(...four) > MAX_AMONG_FOUR * all || bare > MAX_BARE) numbers = 'some';
  }
  return numbers;
}
