import type { Plan, ReadyPlanSpec } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { CARD_MM, pieceShapes } from './piece-shapes.ts';

/** The piece to scale: colours, border, its size, and a card beside it for the eye. */
export function PiecePicture({ plan, ready }: { plan: Plan; ready: ReadyPlanSpec }) {
  const format = useFormat();
  const width = plan.finished.widthMm.value;
  const height = plan.finished.heightMm.value;
  const depth = plan.border?.depthMm.value ?? 0;
  const unit = Math.max(width, height) / 100;
  const margin = unit * 11;
  const totalWidth = width + margin * 2 + CARD_MM.width * 0.5;

  return (
    <svg
      className="piece-picture"
      viewBox={`${-margin} ${-unit * 2} ${totalWidth} ${height + margin}`}
      role="img"
      aria-label={text('picture.label', { size: format.size(width, height) })}
    >
      {pieceShapes(plan, ready).map(({ part, x, y, width, height, corner, colour }, index) => (
        <rect
          key={index}
          {...{ x, y, width, height }}
          rx={corner}
          fill={colour}
          className={part === 'border' ? 'piece-edge' : undefined}
          shapeRendering={part === 'body' ? 'crispEdges' : undefined}
        />
      ))}
      <rect
        x={depth}
        y={depth}
        width={width - 2 * depth}
        height={height - 2 * depth}
        className="piece-edge"
        fill="none"
      />
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
        rx={CARD_MM.corner}
      />
    </svg>
  );
}
