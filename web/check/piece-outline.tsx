import { useState } from 'react';
import { COVERAGE_95 } from '../../calc/index.ts';
import type { Measurement, MeasureOptions } from '../../vision/measurement.ts';
import type { Measured, Point } from '../../vision/types.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { Handle } from '../photo/handle.tsx';
import { AdviceList, StatusSign } from '../swatch/gauge-card.tsx';
import type { Quad } from '../swatch/corrections.ts';

const at = (points: Point[]) => points.map((p) => `${p.x},${p.y}`).join(' ');

/** The piece's outline over the photo, with four marks to drag or nudge while its corners are being set. */
export function OutlineOver({
  measurement,
  corners,
  onChange,
}: {
  measurement: Measurement;
  corners: Quad | null;
  onChange: (corners: Quad) => void;
}) {
  const contour = measurement.piece?.contourPx ?? [];
  return (
    <g>
      {contour.length > 0 && !corners && (
        <g className="found" data-testid="piece-outline">
          <polygon className="marks-under" points={at(contour)} />
          <polygon className="piece-outline" points={at(contour)} />
        </g>
      )}
      {corners && (
        <g>
          <polygon className="marks-under" points={at(corners)} />
          <polygon className="marks" points={at(corners)} />
          {corners.map((corner, index) => (
            <Handle
              key={index}
              atPx={corner}
              label={text('outline.corner', { n: index + 1 })}
              onMove={(to) => onChange(corners.map((p, i) => (i === index ? to : p)) as Quad)}
            />
          ))}
        </g>
      )}
    </g>
  );
}

/** In place of the verdict on its stitches: a photo of a whole piece is a good photo all the same. */
export function SizeOnlyLine() {
  return (
    <p className="status" data-status="ok" data-testid="status">
      <StatusSign status="ok" />
      <strong>{text('status.sizeOnly')}</strong>
      <span>{text('status.sizeOnlyLong')}</span>
    </p>
  );
}

/** How big the piece is now, and the way to put its outline right. */
export function OutlineSizes({
  measurement,
  onItsSide,
  isWhole,
  isOneOfSeveral,
  options,
  corners,
  onCorners,
  onMeasure,
}: {
  measurement: Measurement;
  /** Its rows are upright in the photo. */
  onItsSide: boolean;
  /** False where its stitches say that it is a part, or something else. */
  isWhole: boolean;
  /** Of several photos some show parts only, whose size is of no use and needs no advice. */
  isOneOfSeveral: boolean;
  options: MeasureOptions;
  corners: Quad | null;
  onCorners: (corners: Quad | null) => void;
  onMeasure: (options: MeasureOptions) => void;
}) {
  const format = useFormat();
  const [open, setOpen] = useState(false);
  const { piece } = measurement;
  if (piece === undefined || measurement.scale === null) return null;
  const [wide, high] =
    piece && onItsSide ? [piece.heightMm, piece.widthMm] : [piece?.widthMm, piece?.heightMm];
  const [widths, heights] =
    piece && onItsSide ? [piece.heights, piece.widths] : [piece?.widths ?? [], piece?.heights ?? []];
  const size = (one: Measured) =>
    text('outline.spread', {
      length: format.length(one.value),
      spread: format.length(COVERAGE_95 * one.standardUncertainty),
    });
  return (
    <div className="plan-part" data-testid="size-now">
      <h3>{text('outline.heading')}</h3>
      {wide && high ? (
        <p>
          <strong>{text('outline.size', { width: size(wide), height: size(high) })}</strong>
          {onItsSide && ` ${text('outline.onItsSide')}`}
          {!isWhole && ` ${text('outline.notWhole')}`}
          {piece?.status === 'unsure' && ` ${text('outline.unsure')}`}
        </p>
      ) : (
        <p>{text('outline.none')}</p>
      )}
      <AdviceList advice={isOneOfSeveral ? [] : (piece?.advice ?? [])} />
      {corners ? (
        <div className="line-up">
          <p>{text('outline.how')}</p>
          <button
            type="button"
            className="button button-main"
            onClick={() => {
              onMeasure({ ...options, outline: true, cornersPx: corners });
              onCorners(null);
            }}
          >
            {text('outline.measure')}
          </button>
          <button type="button" className="button button-quiet" onClick={() => onCorners(null)}>
            {text('outline.leave')}
          </button>
        </div>
      ) : (
        <button
          type="button"
          className="button"
          onClick={() => onCorners(piece?.cornersPx ?? inset(measurement.photo))}
        >
          {text('outline.set')}
        </button>
      )}
      {piece && widths.length > 0 && (
        <details className="fold" open={open} onToggle={(event) => setOpen(event.currentTarget.open)}>
          <summary>{text('outline.table')}</summary>
          <table className="table">
            <thead>
              <tr>
                <th scope="col">{text('outline.at')}</th>
                <th scope="col">{text('size.width')}</th>
                <th scope="col">{text('size.height')}</th>
              </tr>
            </thead>
            <tbody>
              {widths.map(({ at: share, lengthMm }, i) => (
                <tr key={share}>
                  <td>{format.percent(share)}</td>
                  <td>{size(lengthMm)}</td>
                  <td>{heights[i] && size(heights[i].lengthMm)}</td>
                </tr>
              ))}
            </tbody>
          </table>
          <p>
            {text('outline.corners', {
              angles: piece.angles.map(({ angleDeg }) => `${formatNumber(angleDeg.value)}°`).join(', '),
            })}
          </p>
        </details>
      )}
    </div>
  );
}

/** Where the corner marks start when no outline was found. */
function inset({ widthPx: w, heightPx: h }: { widthPx: number; heightPx: number }): Quad {
  return [
    { x: 0.15 * w, y: 0.15 * h },
    { x: 0.85 * w, y: 0.15 * h },
    { x: 0.85 * w, y: 0.85 * h },
    { x: 0.15 * w, y: 0.85 * h },
  ];
}
