import { bandOfRow, blocksOfRow, edgeStitchesOf, type Plan, type ReadyPlanSpec } from '../../calc/index.ts';

/** A rectangle of one colour, in mm from the piece's upper left corner. */
export interface PieceShape {
  part: 'border' | 'body';
  x: number;
  y: number;
  width: number;
  height: number;
  /** Radius of its corners. */
  corner: number;
  /** The yarn's, as `#rrggbb`. */
  colour: string;
}

/** A library-size card, ISO/IEC 7810 ID-1: a size everybody has felt. */
export const CARD_MM = { width: 85.6, height: 53.98, corner: 3.2 };

/** Stands for a yarn whose shade was not said. */
const BLANK = '#b9c4c6';

/**
 * The piece as rectangles of colour to scale, each lying on those before it: border rounds from the outermost in,
 * then the body. Rows alike are one rectangle.
 *
 * @example
 * const [outermostRound] = pieceShapes(plan, ready);
 */
export function pieceShapes(plan: Plan, ready: ReadyPlanSpec): PieceShape[] {
  const hexes = new Map(ready.colours.map((colour) => [colour.id, colour.hex ?? BLANK]));
  const hexOf = (id: string) => hexes.get(id) ?? BLANK;
  const width = plan.finished.widthMm.value;
  const height = plan.finished.heightMm.value;

  let inset = 0;
  const rounds = [...(plan.border?.rounds ?? [])].reverse().map((round): PieceShape => {
    const shape: PieceShape = {
      part: 'border',
      x: inset,
      y: inset,
      width: width - 2 * inset,
      height: height - 2 * inset,
      corner: round.depthMm,
      colour: hexOf(round.colour),
    };
    inset += round.depthMm;
    return shape;
  });

  const depth = plan.border?.depthMm.value ?? 0;
  const body = { x: depth, y: depth, width: width - 2 * depth, height: height - 2 * depth };
  if (ready.layout.kind === 'shares')
    return [...rounds, { part: 'body', ...body, corner: 0, colour: hexOf(ready.colours[0]?.id ?? '') }];
  const stitchMm = body.width / plan.stitches;
  const rowMm = body.height / plan.rows;
  const patches = bodyPatches(plan, ready).map((patch): PieceShape => ({
    part: 'body',
    x: depth + patch.x * stitchMm,
    y: depth + patch.y * rowMm,
    width: patch.width * stitchMm,
    height: patch.height * rowMm,
    corner: 0,
    colour: hexOf(patch.colour),
  }));
  return [...rounds, ...patches];
}

interface Patch {
  x: number;
  y: number;
  width: number;
  height: number;
  colour: string;
}

/** The body's colours as rectangles in stitches and rows, row 1 at the bottom. */
function bodyPatches(plan: Plan, ready: ReadyPlanSpec): Patch[] {
  const { layout } = ready;
  const edge = edgeStitchesOf(ready);
  const patches: Patch[] = [];
  let from = 1;
  for (let row = 1; row <= plan.rows; row++) {
    const here = bandOfRow(layout, row);
    const next = row < plan.rows ? bandOfRow(layout, row + 1) : null;
    if (next && next.index === here.index && !here.last) continue;
    const band = layout.bands[here.index];
    if (!band) continue;
    let x = 0;
    for (const block of blocksOfRow(band, plan.stitches, edge)) {
      patches.push({
        x,
        width: block.stitches,
        y: plan.rows - row,
        height: row - from + 1,
        colour: block.colour,
      });
      x += block.stitches;
    }
    from = row + 1;
  }
  return patches;
}
