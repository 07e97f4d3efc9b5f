import { bandOfRow, blocksOfRow, type Layout } from './layout.ts';
import type { Stitch } from './stitches.ts';

/** What one colour has to supply in the body of the piece. */
export interface ColourCount {
  /** Stitches worked, counted turning chains left out. */
  workedStitches: number;
  /** Stitches shown, counted turning chains included. Sums over colours to stitches × rows. */
  shownStitches: number;
  /** Foundation chains (or cast-on stitches, and bound-off ones in knitting). */
  foundationChains: number;
  /** Chains made when turning. */
  turningChains: number;
  /** Stitches over which this colour is carried unseen. */
  carriedStitches: number;
  /** Rows that it is carried up the side. */
  sideRows: number;
  /** New strands joined, each with a tail at both ends. */
  strands: number;
}

export interface CountColoursOptions {
  layout: Layout;
  stitch: Stitch;
  /** Foundation chain, stitches of a row, and rows. */
  chain: number;
  stitches: number;
  rows: number;
  /** First row to count, 1 for the whole piece. */
  fromRow?: number;
  /** Stitches outside whole repeats, given to the outermost blocks. */
  edgeStitches?: number;
  /** A colour that rests for at most this many rows is carried up the side, else cut. */
  carryUpRows: number;
}

/**
 * Stitches, chains and strands per colour, row by row under the colour layout.
 *
 * @example
 * // 10 rows of 20 sc in two-row stripes: A has 6 rows, B has 4
 */
export function countColours(options: CountColoursOptions): Record<string, ColourCount> {
  const { layout, stitch, chain, stitches, rows, carryUpRows } = options;
  const counts: Record<string, ColourCount> = {};
  const of = (colour: string): ColourCount =>
    (counts[colour] ??= {
      workedStitches: 0,
      shownStitches: 0,
      foundationChains: 0,
      turningChains: 0,
      carriedStitches: 0,
      sideRows: 0,
      strands: 0,
    });

  if (layout.kind === 'shares') return countShares(options, of, counts);

  const fromRow = options.fromRow ?? 1;
  const blocksOfBand = layout.bands.map((band) => blocksOfRow(band, stitches, options.edgeStitches ?? 0));
  const lastWorkedRow: Record<string, number> = {};
  for (let row = 1; row <= rows; row++) {
    const { index } = bandOfRow(layout, row);
    const blocks = blocksOfBand[index]!;
    const counting = row >= fromRow;
    // row 1 and every odd row start at the same edge, even rows at the other
    const first = row % 2 === 1 ? blocks[0]! : blocks[blocks.length - 1]!;
    const shown: Record<string, number> = {};
    for (const block of blocks) shown[block.colour] = (shown[block.colour] ?? 0) + block.stitches;
    const runs: Record<string, number> = {};
    for (const block of blocks) runs[block.colour] = (runs[block.colour] ?? 0) + 1;

    for (const [colour, count] of Object.entries(shown)) {
      const last = lastWorkedRow[colour];
      const resting = last === undefined ? Infinity : row - last - 1;
      lastWorkedRow[colour] = row;
      if (!counting) continue;
      const mine = of(colour);
      mine.shownStitches += count;
      mine.workedStitches += count - (first.colour === colour && turningChainStands(stitch, row) ? 1 : 0);
      if (layout.carried) mine.carriedStitches += stitches - count;
      const strands = layout.carried ? 1 : runs[colour]!;
      if (resting > carryUpRows) mine.strands += strands;
      else mine.sideRows += resting * strands;
    }
    if (!counting) continue;
    if (row === 1) {
      // the chain is made in the colour of row 1; in blocks it is made in the first of them
      of(first.colour).foundationChains += chain;
    } else {
      of(first.colour).turningChains += stitch.turningChain;
    }
    if (row === rows && stitch.craft === 'knit') of(first.colour).foundationChains += stitches; // bound off
  }
  return counts;
}

/** In row 1 skipped chains may stand for a stitch, in later rows the turning chain may. */
function turningChainStands(stitch: Stitch, row: number): boolean {
  return row === 1 ? stitch.skippedChainsCount : stitch.turningChainCounts;
}

function countShares(
  { layout, stitch, chain, stitches, rows, fromRow = 1 }: CountColoursOptions,
  of: (colour: string) => ColourCount,
  counts: Record<string, ColourCount>,
): Record<string, ColourCount> {
  const counted = Math.max(0, rows - fromRow + 1);
  const total = Object.values(layout.shares).reduce((sum, share) => sum + share, 0);
  for (const [colour, weight] of Object.entries(layout.shares)) {
    const share = weight / total;
    const mine = of(colour);
    const standing = stitch.turningChainCounts ? counted : 0;
    mine.shownStitches = stitches * counted * share;
    mine.workedStitches = (stitches * counted - standing) * share;
    const foundation = (fromRow === 1 ? chain : 0) + (stitch.craft === 'knit' ? stitches : 0);
    mine.foundationChains = foundation * share;
    mine.turningChains = stitch.turningChain * Math.max(0, fromRow === 1 ? rows - 1 : counted) * share;
    mine.strands = 1;
  }
  return counts;
}
