import { bandOfRow, blocksOfRow, edgeStitchesOf, type Plan, type ReadyPlanSpec } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';

const BLANK = '#b9c4c6';
const CARD_MM = { width: 85.6, height: 53.98 }; // ISO/IEC 7810 ID-1: a size everybody has felt

interface Patch {
  x: number;
  y: number;
  width: number;
  height: number;
  colour: string;
}

/** The body's colours as rectangles in stitches and rows, row 1 at the bottom; rows alike are drawn as one. */
export function bodyPatches(plan: Plan, ready: ReadyPlanSpec): Patch[] {
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

/** The piece to scale: colours, border, its size, and a card beside it for the eye. */
export function PiecePicture({ plan, ready }: { plan: Plan; ready: ReadyPlanSpec }) {
  const format = useFormat();
  const hexes = new Map(ready.colours.map((colour) => [colour.id, colour.hex ?? BLANK]));
  const hexOf = (id: string) => hexes.get(id) ?? BLANK;
  const width = plan.finished.widthMm.value;
  const height = plan.finished.heightMm.value;
  const depth = plan.border?.depthMm.value ?? 0;
  const bodyWidth = width - 2 * depth;
  const bodyHeight = height - 2 * depth;
  const unit = Math.max(width, height) / 100;
  const margin = unit * 11;
  const stitchMm = bodyWidth / plan.stitches;
  const rowMm = bodyHeight / plan.rows;
  const rounds = [...(plan.border?.rounds ?? [])].reverse();
  let inset = 0;
  const totalWidth = width + margin * 2 + CARD_MM.width * 0.5;

  return (
    <svg
      className="piece-picture"
      viewBox={`${-margin} ${-unit * 2} ${totalWidth} ${height + margin}`}
      role="img"
      aria-label={text('picture.label', { size: format.size(width, height) })}
    >
      {rounds.map((round) => {
        const rect = (
          <rect
            key={round.round}
            x={inset}
            y={inset}
            width={width - 2 * inset}
            height={height - 2 * inset}
            rx={round.depthMm}
            fill={hexOf(round.colour)}
            className="piece-edge"
          />
        );
        inset += round.depthMm;
        return rect;
      })}
      <g transform={`translate(${depth} ${depth})`}>
        {ready.layout.kind === 'shares' ? (
          <rect width={bodyWidth} height={bodyHeight} fill={hexOf(ready.colours[0]?.id ?? '')} />
        ) : (
          bodyPatches(plan, ready).map((patch, index) => (
            <rect
              key={index}
              x={patch.x * stitchMm}
              y={patch.y * rowMm}
              width={patch.width * stitchMm}
              height={patch.height * rowMm}
              fill={hexOf(patch.colour)}
              shapeRendering="crispEdges"
            />
          ))
        )}
        <rect width={bodyWidth} height={bodyHeight} className="piece-edge" fill="none" />
      </g>
      <path
        className="measure-line"
        d={`M0 ${height + unit * 3}H${width}M0 ${height + unit * 1.8}v${unit * 2.4}M${width} ${height + unit * 1.8}v${unit * 2.4}`}
      />
      <text x={width / 2} y={height + unit * 8} fontSize={unit * 4.4} textAnchor="middle">
        {format.length(width)}
      </text>
      <path
        className="measure-line"
        d={`M${-unit * 3} 0V${height}M${-unit * 4.2} 0h${unit * 2.4}M${-unit * 4.2} ${height}h${unit * 2.4}`}
      />
      <text
        fontSize={unit * 4.4}
        textAnchor="middle"
        transform={`translate(${-unit * 5} ${height / 2}) rotate(-90)`}
      >
        {format.length(height)}
      </text>
      <rect
        className="piece-card"
        x={width + unit * 3}
        y={height - CARD_MM.height}
        width={CARD_MM.width}
        height={CARD_MM.height}
        rx={3.2}
      />
    </svg>
  );
}
