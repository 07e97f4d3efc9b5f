/** The colours of a piece, as bands of rows repeated from the bottom up. */
export interface ColourBand {
  rows: number;
  /** Colours of the blocks of a row, from the edge where row 1 starts, repeated to the other edge. */
  across: string[];
  /** Stitches of one block; Infinity for a row of one colour. */
  blockStitches: number;
}

export interface Layout {
  kind: 'solid' | 'stripes' | 'blocks' | 'grid' | 'shares';
  bands: ColourBand[];
  /** Resting colours of a row are carried inside its stitches. */
  carried: boolean;
  /** The topmost band may be cut short. */
  partLastBand: boolean;
  /** The topmost band must be one of these (indices); null for any. */
  lastBands: number[] | null;
  /** Only for kind 'shares': share of the stitches of each colour. */
  shares: Record<string, number>;
}

/** The band of row `row` (counted from 1), and whether this row is the band's last. */
export function bandOfRow(layout: Layout, row: number): { index: number; rowInBand: number; last: boolean } {
  const period = layout.bands.reduce((sum, band) => sum + band.rows, 0);
  let rest = (row - 1) % period;
  for (let index = 0; index < layout.bands.length; index++) {
    const { rows } = layout.bands[index]!;
    if (rest < rows) return { index, rowInBand: rest + 1, last: rest === rows - 1 };
    rest -= rows;
  }
  throw new Error('unreachable: a row lies in one of the bands');
}

/** Whether a piece may end after `rows` rows under the layout's end rule. */
export function layoutMayEndAt(layout: Layout, rows: number): boolean {
  if (layout.kind === 'solid' || layout.kind === 'shares') return true;
  const { index, last } = bandOfRow(layout, rows);
  if (!layout.partLastBand && !last) return false;
  return layout.lastBands === null || layout.lastBands.includes(index);
}

/**
 * Colours of the blocks of a row `stitches` wide with their stitch counts, from the edge where row 1
 * starts. Edge stitches beyond whole repeats go to the outermost blocks, half to each side.
 */
export function blocksOfRow(
  band: ColourBand,
  stitches: number,
  edgeStitches: number,
): { colour: string; stitches: number }[] {
  if (band.across.length === 1) return [{ colour: band.across[0]!, stitches }];
  const near = Math.min(Math.floor(edgeStitches / 2), stitches);
  const blocks: { colour: string; stitches: number }[] = [];
  const inner = Math.max(stitches - edgeStitches, 0);
  for (let done = 0, index = 0; done < inner; index++) {
    const width = Math.min(band.blockStitches, inner - done);
    blocks.push({ colour: band.across[index % band.across.length]!, stitches: width });
    done += width;
  }
  if (blocks.length === 0) blocks.push({ colour: band.across[0]!, stitches: 0 });
  blocks[0]!.stitches += near;
  blocks[blocks.length - 1]!.stitches += stitches - inner - near;
  return blocks;
}
