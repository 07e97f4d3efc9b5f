import { CLEAR_AGREEMENT } from './agreeOnLattice.ts';
import type { LatticeFit } from './fitLattice.ts';
import { weightedMedian } from './lattice/robust.ts';
import { measured } from './measured.ts';
import type { Rectified } from './rectify.ts';
import type { Point, WholeCount } from './types.ts';

/**
 * The outermost strands stand out beyond the stitch that they belong to, and the reader sees cloth up to their
 * fuzz: by this much of a stitch or row at either end, in the middle of 60 development scenes.
 */
const OVERHANG = 0.16;
/** A whole number this likely is given alone: of 111 rows counted so beside an outline, 110 were right. */
const SURE_CHANCE = 0.8;
/**
 * One count in twelve is three times as uncertain as it seems: edges may be unlike all others, lattices stray on the way to
 * them. So errors of 401 counts in development photos (from 984000 on) are described best: 384 of these are said to be right
 * and 382 are, where normal errors alone had said 393.
 */
const UNUSUAL = { share: 0.08, factor: 3 };
/** Cloth is looked for at steps of so much of a stitch or row, and from the first that shows none at finer ones. */
const STEP = 1 / 4;
const FINE_STEP = 1 / 16;
/**
 * A gap wider than this, in stitches or rows, is where the cloth ends; where so much cloth comes again within so many
 * stitches or rows beyond, something lies across it.
 */
const GAP = 1.5;
const CLOTH_AGAIN = 2;
const LOOKED_BEYOND = 8;
/**
 * Of nine lines along the cloth so many have to show both ends, for a card may hide an edge elsewhere; what lies across more
 * than so many may lie across all.
 */
const LEAST_LINES = 3;
const MOST_ACROSS = 3;

/** Whole stitches and rows between the visible edges; null where an edge is out of view or hidden. */
export interface EdgeCounts {
  stitches: WholeCount | null;
  rows: WholeCount | null;
}

/** Stitches or rows from edge to edge, not rounded, and the scatter of several lines. */
export interface EdgeLength {
  exact: number;
  spread: number;
  lines: number;
  /** Phases at which the first and the last of them end, in the middle of the lines, turns. */
  ends: readonly [low: number, high: number];
}

/**
 * A length in stitches or rows as the whole number that it must be. Half-way between two numbers either may be right,
 * so that what is rounded away counts as uncertainty, and the other number is named where it is not unlikely.
 *
 * The chance that the nearest whole number is the right one is that of integer rounding (P. J. G. Teunissen, Success
 * probability of integer GPS ambiguity rounding and bootstrapping, J. Geodesy 72, 606, 1998), given what was measured
 * and with all whole numbers alike likely beforehand; errors are normal, but for a few that are larger.
 *
 * @param exact stitches or rows, not rounded
 * @param u its standard uncertainty
 * @example
 * wholeCount(20.4, 0.3).orElse; // 21
 */
export function wholeCount(exact: number, u: number): WholeCount {
  const whole = Math.round(exact);
  const normal = (n: number, sd: number): number => Math.exp(-0.5 * ((exact - n) / sd) ** 2) / sd;
  const likelihood = (n: number): number =>
    (1 - UNUSUAL.share) * normal(n, u) + UNUSUAL.share * normal(n, UNUSUAL.factor * u);
  const near = [-2, -1, 0, 1, 2].map((step) => likelihood(whole + step));
  const chance = likelihood(whole) / near.reduce((sum, one) => sum + one, 0);
  const other = exact > whole ? whole + 1 : whole - 1;
  return {
    ...measured(whole, Math.hypot(u, exact - whole)),
    orElse: chance < SURE_CHANCE && other >= 1 ? other : null,
  };
}

/**
 * Counts along the lattice to the edges of what looks like cloth, on several rows and several columns: the median.
 *
 * @param lattice fitted lattice
 * @param isOpen whether cloth could be seen at a picture pixel if it were there (inside the photo, not under
 *   the reference); an edge next to a pixel that is not open is a hidden edge
 */
export function edgeLengths(
  lattice: LatticeFit,
  isOpen: (x: number, y: number) => boolean,
): { stitches: EdgeLength | null; rows: EdgeLength | null } {
  const phases = lattice.places.map((p) => ({
    p,
    s: lattice.stitchPhaseAt(p.x, p.y),
    r: lattice.rowPhaseAt(p.x, p.y),
  }));
  const count = (axis: 's' | 'r'): EdgeLength | null => {
    // A lattice followed over part of the cloth only may slip by a row on the way to the edge.
    const { stitchAgreement, rowAgreement } = lattice.quality;
    if ((axis === 's' ? stitchAgreement : rowAgreement) < CLEAR_AGREEMENT) return null;
    const other = axis === 's' ? 'r' : 's';
    const levels = phases.map((q) => q[other]).sort((a, b) => a - b);
    const found: { low: number; high: number }[] = [];
    let across = 0;
    for (let i = 0; i < 9; i++) {
      const level = levels[Math.round((0.2 + (0.6 * i) / 8) * (levels.length - 1))]!;
      const start = phases.reduce((a, b) =>
        Math.abs(b[other] - level) < Math.abs(a[other] - level) ? b : a,
      );
      const placeAt = (t: number, from: Point): Point =>
        axis === 's' ? lattice.locate(t, level, from) : lattice.locate(level, t, from);
      const comesAgain = (edge: number, way: number, beside: Point): boolean => {
        let from = beside;
        let cloth = 0;
        for (let far = STEP; far <= LOOKED_BEYOND && cloth < CLOTH_AGAIN; far += STEP) {
          from = placeAt(edge + way * far, from);
          if (!isOpen(from.x, from.y)) break;
          cloth = lattice.clothAt(from.x, from.y) > 0.5 ? cloth + STEP : 0;
        }
        return cloth >= CLOTH_AGAIN;
      };
      const ends: number[] = [];
      let isAcross = false;
      for (const way of [-1, 1]) {
        let from: Point = start.p;
        let last = start[axis];
        let step = STEP;
        let gap = 0;
        for (let t = start[axis]; Math.abs(t - start[axis]) < 400; t += way * step) {
          const at = placeAt(t, from);
          const isSeen = isOpen(at.x, at.y);
          const isCloth = isSeen && lattice.clothAt(at.x, at.y) > 0.5;
          if (!isCloth && step === STEP && t !== start[axis]) {
            // Back to where there was cloth, and on from there finely.
            t -= way * STEP;
            step = FINE_STEP;
            continue;
          }
          if (!isSeen) {
            // What lies half a stitch beyond the cloth's edge does not hide it.
            if (gap < 0.5) gap = NaN;
            break;
          }
          if (isCloth) {
            last = t;
            gap = 0;
          } else if ((gap += step) > GAP) {
            // A finger or pen that lies across the cloth is no edge of it.
            if (comesAgain(t, way, from)) {
              isAcross = true;
              gap = NaN;
            }
            break;
          }
          from = at;
        }
        if (Number.isNaN(gap)) break;
        ends.push(last);
      }
      if (ends.length === 2) found.push({ low: ends[0], high: ends[1] });
      else if (isAcross) across++;
    }
    if (found.length < LEAST_LINES || across > MOST_ACROSS) return null;
    const one = found.map(() => 1);
    const middleOf = (values: number[]) => weightedMedian(values, one);
    const middle = middleOf(found.map(({ low, high }) => high - low));
    const spread = 1.4826 * middleOf(found.map(({ low, high }) => Math.abs(high - low - middle)));
    const ends = [
      middleOf(found.map(({ low }) => low)) + OVERHANG,
      middleOf(found.map(({ high }) => high)) - OVERHANG,
    ] as const;
    return { exact: middle - 2 * OVERHANG, spread, lines: found.length, ends };
  };
  return { stitches: count('s'), rows: count('r') };
}

/** Whether cloth could be seen at a pixel of a flattened photo: inside what was read, and not under the reference. */
export function seenIn({ allowed }: Pick<Rectified, 'allowed'>, { bounds }: LatticeFit) {
  return (x: number, y: number): boolean => {
    const i = Math.round(x);
    const j = Math.round(y);
    return (
      i > 2 &&
      j > 2 &&
      i < allowed.widthPx - 3 &&
      j < allowed.heightPx - 3 &&
      allowed.data[j * allowed.widthPx + i]! > 0 &&
      x > bounds.left + 2 &&
      y > bounds.top + 2 &&
      x < bounds.left + bounds.width - 2 &&
      y < bounds.top + bounds.height - 2
    );
  };
}
