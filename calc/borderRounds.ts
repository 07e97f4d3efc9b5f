import { pickUpRatio, type PickUpRatio } from './pickUpRatio.ts';
import { spreadEvenly } from './spreadEvenly.ts';

export interface EdgePickUp extends PickUpRatio {
  /** Places along the edge: stitches along top and bottom, rows along the sides. */
  places: number;
  /** Border stitches between the two corners. */
  stitches: number;
  /** Border stitches that the plain ratio gives short (+) or over (−), spread along the edge. */
  extra: number;
  /** Places (from 1) at which to work one stitch more (extra > 0) or skip one (extra < 0). */
  extraAt: number[];
}

export interface BorderRound {
  round: number;
  /** Stitches of the whole round, corners included. */
  stitches: number;
  /** Stitches between corners along top or bottom, and along a side. */
  alongWidth: number;
  alongHeight: number;
  /** Stitches to add (+) or skip (−) in this round so that the border's pattern comes out. */
  adjust: number;
  /** Where: stitches (from 1) between corners, by side. */
  adjustAt: { edge: 'bottom' | 'right' | 'top' | 'left'; stitches: number[] }[];
}

export interface BorderCount {
  widthEdge: EdgePickUp;
  heightEdge: EdgePickUp;
  rounds: BorderRound[];
}

export interface BorderRoundsOptions {
  stitches: number;
  rows: number;
  stitchWidthMm: number;
  rowHeightMm: number;
  borderStitchMm: number;
  rounds: number;
  /** Stitches worked into each corner stitch. */
  cornerStitches: number;
  /** Every round's total is to be m × k + plus. */
  multiple: { m: number; plus: number };
}

/**
 * Stitch counts of a border worked in rounds about a rectangle: one pick-up ratio along top and bottom,
 * one along the row ends, `cornerStitches` into each corner, so that every round grows by
 * 4 × (cornerStitches − 1). The corner groups sit in the first and last stitch of the top and bottom
 * edge. Totals that miss the border's pattern are put right with the fewest stitches added or skipped.
 *
 * @example
 * borderRounds({ stitches: 120, rows: 90, stitchWidthMm: 7.4, rowHeightMm: 11.1, borderStitchMm: 7.4,
 *   rounds: 3, cornerStitches: 3, multiple: { m: 2, plus: 0 } }).rounds.map((round) => round.stitches);
 * // [518, 526, 534]
 */
export function borderRounds(options: BorderRoundsOptions): BorderCount {
  const { stitches, rows, stitchWidthMm, rowHeightMm, borderStitchMm, cornerStitches, multiple } = options;
  // the end stitches hold the corners
  const widthEdge = pickUp(Math.max(0, stitches - 2), stitchWidthMm, borderStitchMm);
  const heightEdge = pickUp(rows, rowHeightMm, borderStitchMm);
  const growth = cornerStitches - 1;

  const rounds: BorderRound[] = [];
  let alongWidth = [widthEdge.stitches, widthEdge.stitches];
  let alongHeight = [heightEdge.stitches, heightEdge.stitches];
  for (let round = 1; round <= options.rounds; round++) {
    if (round > 1) {
      alongWidth = alongWidth.map((count) => count + growth);
      alongHeight = alongHeight.map((count) => count + growth);
    }
    const total = sum(alongWidth) + sum(alongHeight) + 4 * cornerStitches;
    const adjust = smallestAdjustment(total, multiple);
    const adjustAt = placeAdjustment(adjust, alongWidth, alongHeight);
    rounds.push({
      round,
      stitches: total + adjust,
      alongWidth: alongWidth[0]!,
      alongHeight: alongHeight[0]!,
      adjust,
      adjustAt,
    });
  }
  return { widthEdge, heightEdge, rounds };
}

function pickUp(places: number, edgeUnitMm: number, borderStitchMm: number): EdgePickUp {
  const ratio = pickUpRatio({ edgeUnitMm, borderStitchMm });
  const stitches = Math.round((places * ratio.take) / ratio.per);
  // whole groups of `per` places, the rest at one stitch a place up to `take`
  const groups = Math.floor(places / ratio.per);
  const extra = stitches - (groups * ratio.take + Math.min(places % ratio.per, ratio.take));
  return { ...ratio, places, stitches, extra, extraAt: spreadEvenly(Math.abs(extra), places) };
}

function smallestAdjustment(total: number, { m, plus }: { m: number; plus: number }): number {
  const over = (((total - plus) % m) + m) % m;
  return over === 0 ? 0 : over <= m - over ? -over : m - over;
}

/** Shares the adjustment over bottom, right, top, left in turn, and applies it to the side counts. */
function placeAdjustment(
  adjust: number,
  alongWidth: number[],
  alongHeight: number[],
): BorderRound['adjustAt'] {
  const edges = ['bottom', 'right', 'top', 'left'] as const;
  const perEdge = [0, 0, 0, 0];
  // opposite edges first, so that the piece stays symmetric as long as the number allows
  const order = [0, 2, 1, 3];
  for (let index = 0; index < Math.abs(adjust); index++) perEdge[order[index % 4]!]!++;
  const result: BorderRound['adjustAt'] = [];
  edges.forEach((edge, index) => {
    const count = perEdge[index]!;
    if (count === 0) return;
    const side = index % 2 === 0 ? alongWidth : alongHeight;
    const which = index < 2 ? 0 : 1;
    result.push({ edge, stitches: spreadEvenly(count, side[which]!) });
    side[which]! += Math.sign(adjust) * count;
  });
  return result;
}

const sum = (values: number[]): number => values.reduce((total, value) => total + value, 0);
