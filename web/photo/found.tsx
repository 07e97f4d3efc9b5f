import type { Measurement } from '../../vision/measurement.ts';
import type { Point } from '../../vision/types.ts';
import { useFrame } from './photo-view.tsx';

/** What the maker wants drawn over the photo. */
export interface Shown {
  rows: boolean;
  stitches: boolean;
  outlines: boolean;
  /** Local gauge as a map, by rows or by stitches. */
  map: 'none' | 'stitches' | 'rows';
}

const at = (points: Point[]) => points.map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`).join(' ');

/** What was found in the photo: the reference, the fabric, and the lines between rows and between stitches. */
export function Found({
  measurement,
  shown,
  question,
}: {
  measurement: Measurement;
  shown: Shown;
  /** Written over the reference's outline while it is not certain. */
  question?: string | undefined;
}) {
  const { overlay, scale } = measurement;
  return (
    <g className="found">
      {shown.outlines && scale && <Outline points={scale.outlinePx} className="found-reference" />}
      {question && scale && <Question words={question} outline={scale.outlinePx} />}
      {shown.outlines && overlay && <Outline points={overlay.fabricOutlinePx} className="found-fabric" />}
      {shown.rows && overlay && <Lines lines={overlay.rowLinesPx} className="found-row" numbersAt="start" />}
      {shown.stitches && overlay && (
        <Lines lines={overlay.stitchLinesPx} className="found-stitch" numbersAt="low" />
      )}
    </g>
  );
}

function Outline({ points, className }: { points: Point[]; className: string }) {
  return (
    <>
      <polygon points={at(points)} className="found-under" />
      <polygon points={at(points)} className={className} />
    </>
  );
}

function Question({ words, outline }: { words: string; outline: Point[] }) {
  const { pxPerCss } = useFrame();
  const top = Math.min(...outline.map((p) => p.y));
  const size = 16 * pxPerCss;
  return (
    <text
      x={outline.reduce((sum, p) => sum + p.x, 0) / outline.length}
      // Above the outline, or within it where there is no room above.
      y={top > 2.5 * size ? top - 0.9 * size : top + 1.4 * size}
      fontSize={size}
      className="found-question"
      textAnchor="middle"
      strokeWidth={4 * pxPerCss}
    >
      {words}
    </text>
  );
}

/** Lines between neighbours, every fifth one heavier and numbered. */
function Lines({
  lines,
  className,
  numbersAt,
}: {
  lines: Point[][];
  className: string;
  numbersAt: 'start' | 'low';
}) {
  const { pxPerCss } = useFrame();
  const size = 13 * pxPerCss;
  const step = numberingStep(lines, pxPerCss);
  return (
    <>
      {lines.map((line, index) => (
        <polyline
          key={index}
          points={at(line)}
          className={className}
          data-fifth={index % 5 === 0 || undefined}
        />
      ))}
      {lines.map((line, index) => {
        if (index % step !== 0 || index === 0) return null;
        const spot = labelSpot(line, numbersAt, 12 * pxPerCss);
        return (
          spot && (
            <text
              key={index}
              x={spot.x}
              y={spot.y}
              fontSize={size}
              className={`${className}-number`}
              textAnchor="middle"
              dominantBaseline="central"
              strokeWidth={3.5 * pxPerCss}
            >
              {index}
            </text>
          )
        );
      })}
    </>
  );
}

/** Room for a number of three digits, CSS pixels. */
const NUMBER_ROOM = 24;

/** Every fifth line has a number; where they would run into each other (seen from far off), every tenth and so on. */
function numberingStep(lines: Point[][], pxPerCss: number): number {
  const middle = (line: Point[] | undefined) => line?.[Math.floor(line.length / 2)];
  const [first, last] = [middle(lines[0]), middle(lines.at(-1))];
  if (!first || !last || lines.length < 2) return 5;
  const apartCss = Math.hypot(last.x - first.x, last.y - first.y) / (lines.length - 1) / pxPerCss;
  return [5, 10, 20, 50].find((step) => step * apartCss >= NUMBER_ROOM) ?? 100;
}

/** A little beyond the end of a line: its first point, or whichever end is lower in the picture. */
function labelSpot(line: Point[], where: 'start' | 'low', beyondPx: number): Point | null {
  const first = line[0];
  const last = line.at(-1);
  if (!first || !last || line.length < 2) return null;
  const fromLast = where === 'low' ? last.y > first.y : last.x < first.x;
  const end = fromLast ? last : first;
  const inner = fromLast ? line.at(-2) : line[1];
  if (!inner) return null;
  const length = Math.hypot(end.x - inner.x, end.y - inner.y) || 1;
  return {
    x: end.x + ((end.x - inner.x) / length) * beyondPx,
    y: end.y + ((end.y - inner.y) / length) * beyondPx,
  };
}
