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
  /** Knitting that still goes on is not bound off; true when left out. */
  boundOff?: boolean;
}

/**
 * Stitches, chains and strands per colour, row by row under the colour layout.
 *
 * @example
 * // 10 rows of 20 sc in two-row stripes: A shows 6 rows, B shows 4
 * countColours({ layout: twoRowStripes, stitch: STITCHES.sc, chain: 21, stitches: 20, rows: 10, carryUpRows: 4 })
 *   .A.shownStitches; // 120
 */
export function countColours(options: CountColoursOptions): Record<string, ColourCount> {
  return countColoursAt(options, [options.rows])[0]!;
}

/**
 * `countColours` for several row counts in one pass.
 *
 * @param atRows row counts, ascending, none above `options.rows`.
 * @returns one record per entry of `atRows`.
 */
export function countColoursAt(
  options: CountColoursOptions,
  atRows: readonly number[],
): Record<string, ColourCount>[] {
  const { layout, stitch, chain, stitches, rows, carryUpRows } = options;
  const boundOff = stitch.craft === 'knit' && (options.boundOff ?? true);
  if (layout.kind === 'shares') return atRows.map((upTo) => countShares({ ...options, rows: upTo }));

  const counts: Record<string, ColourCount> = {};
  const of = (colour: string): ColourCount => (counts[colour] ??= noCount());
  const results: Record<string, ColourCount>[] = [];
  const fromRow = options.fromRow ?? 1;
  const bands = layout.bands.map((band) =>
    describeRow(blocksOfRow(band, stitches, options.edgeStitches ?? 0)),
  );
  const lastWorkedRow: Record<string, number> = {};
  for (let row = 1; row <= rows; row++) {
    const { shown, nearColour, farColour } = bands[bandOfRow(layout, row).index]!;
    const counting = row >= fromRow;
    // row 1 and every odd row start at the same edge, even rows at the other
    const firstColour = row % 2 === 1 ? nearColour : farColour;
    for (const { colour, stitches: count, runs } of shown) {
      const last = lastWorkedRow[colour];
      const resting = last === undefined ? Infinity : row - last - 1;
      lastWorkedRow[colour] = row;
      if (!counting) continue;
      const mine = of(colour);
      mine.shownStitches += count;
      mine.workedStitches += count - (firstColour === colour && turningChainStands(stitch, row) ? 1 : 0);
      if (layout.carried) mine.carriedStitches += stitches - count;
      const strands = layout.carried ? 1 : runs;
      if (resting > carryUpRows) mine.strands += strands;
      else mine.sideRows += resting * strands;
    }
    if (counting) {
      if (row === 1) of(firstColour).foundationChains += chain;
      else of(firstColour).turningChains += stitch.turningChain;
    }
    for (const upTo of atRows) if (upTo === row) results.push(snapshot(counts));
    if (counting && boundOff) {
      // every result ends with the row bound off in its own last colour
      for (let index = results.length - 1; index >= 0 && atRows[index] === row; index--) {
        (results[index]![firstColour] ??= noCount()).foundationChains += stitches;
      }
    }
  }
  return results;
}

/** A colour that has nothing to do. */
export function noCount(): ColourCount {
  return {
    workedStitches: 0,
    shownStitches: 0,
    foundationChains: 0,
    turningChains: 0,
    carriedStitches: 0,
    sideRows: 0,
    strands: 0,
  };
}

function snapshot(counts: Record<string, ColourCount>): Record<string, ColourCount> {
  return Object.fromEntries(Object.entries(counts).map(([colour, count]) => [colour, { ...count }]));
}

/** A row's colours with their stitches and the number of separate blocks, and its two edge colours. */
function describeRow(blocks: { colour: string; stitches: number }[]) {
  const shown: { colour: string; stitches: number; runs: number }[] = [];
  for (const block of blocks) {
    const same = shown.find((each) => each.colour === block.colour);
    if (same) {
      same.stitches += block.stitches;
      same.runs++;
    } else shown.push({ ...block, runs: 1 });
  }
  return { shown, nearColour: blocks[0]!.colour, farColour: blocks[blocks.length - 1]!.colour };
}

/** In row 1 skipped chains may stand for a stitch, in later rows the turning chain may. */
function turningChainStands(stitch: Stitch, row: number): boolean {
  return row === 1 ? stitch.skippedChainsCount : stitch.turningChainCounts;
}

function countShares({
  layout,
  stitch,
  chain,
  stitches,
  rows,
  fromRow = 1,
  boundOff = true,
}: CountColoursOptions): Record<string, ColourCount> {
  const counts: Record<string, ColourCount> = {};
  const counted = Math.max(0, rows - fromRow + 1);
  const total = Object.values(layout.shares).reduce((sum, share) => sum + share, 0);
  const standing = (turningChainStands(stitch, 1) ? 1 : 0) + (turningChainStands(stitch, 2) ? rows - 1 : 0);
  for (const [colour, weight] of Object.entries(layout.shares)) {
    const share = weight / total;
    const foundation = (fromRow === 1 ? chain : 0) + (stitch.craft === 'knit' && boundOff ? stitches : 0);
    counts[colour] = {
      ...noCount(),
      shownStitches: stitches * counted * share,
      workedStitches: (stitches * counted - (standing * counted) / rows) * share,
      foundationChains: foundation * share,
      turningChains: stitch.turningChain * Math.max(0, fromRow === 1 ? rows - 1 : counted) * share,
      strands: 1,
    };
  }
  return counts;
}
