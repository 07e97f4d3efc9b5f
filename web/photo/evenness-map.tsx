import type { LocalGauge } from '../../vision/measurement.ts';
import { MM_PER_10CM, MM_PER_4IN } from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { useFrame } from './photo-view.tsx';

/** Where colour saturates: 8 % tighter or looser than the middle is plain to see in cloth. */
const FULL_COLOUR = 0.08;

/** Each place's own gauge, written and coloured: blue where tighter than the middle, red where looser. */
export function EvennessMap({ cells, axis }: { cells: LocalGauge[]; axis: 'stitches' | 'rows' }) {
  const { pxPerCss } = useFrame();
  const per = useFormat().lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const readings = cells
    .map((cell) => ({
      at: cell.centrePx,
      per10cm: axis === 'stitches' ? cell.stitchesPer10cm : cell.rowsPer10cm,
      trust: cell.trust,
    }))
    .filter((cell): cell is typeof cell & { per10cm: number } => cell.per10cm !== null && cell.trust > 0);
  const middle = median(readings.map((cell) => cell.per10cm));
  const side = spacing(readings.map((cell) => cell.at)) * 0.92;
  if (!(side > 0) || !(middle > 0)) return null;
  const fontPx = Math.min(13 * pxPerCss, side * 0.34);
  return (
    <g>
      {readings.map((cell, index) => {
        const off = (cell.per10cm - middle) / middle;
        return (
          <g key={index}>
            <rect
              className="found-cell"
              x={cell.at.x - side / 2}
              y={cell.at.y - side / 2}
              width={side}
              height={side}
              fill={evennessColour(off)}
              fillOpacity={0.72}
            />
            <text
              className="found-cell-number"
              x={cell.at.x}
              y={cell.at.y}
              fontSize={fontPx}
              strokeWidth={fontPx * 0.22}
              textAnchor="middle"
              dominantBaseline="central"
            >
              {formatNumber(cell.per10cm * per, 1)}
            </text>
          </g>
        );
      })}
    </g>
  );
}

/** Blue (tighter) through white to red (looser); `off` is the relative deviation in stitches per length. */
export function evennessColour(off: number): string {
  const strength = Math.min(1, Math.abs(off) / FULL_COLOUR);
  const end = off > 0 ? [39, 84, 164] : [178, 48, 62];
  const mixed = end.map((channel) => Math.round(245 + (channel - 245) * strength));
  return `rgb(${mixed.join(' ')})`;
}

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? NaN;
}

/** Typical distance from a place to its nearest neighbour. */
function spacing(points: { x: number; y: number }[]): number {
  return median(
    points.map((p, i) =>
      Math.min(...points.filter((_, j) => j !== i).map((q) => Math.hypot(p.x - q.x, p.y - q.y))),
    ),
  );
}
