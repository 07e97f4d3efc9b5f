import { useLayoutEffect, useRef, useState } from 'react';
import type { Measurement } from '../../vision/measurement.ts';
import type { Matrix3 } from '../../vision/types.ts';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { multiply, throughHomography, toCssMatrix3d } from './homography.ts';

const MARGIN_MM = 12;

/**
 * The swatch laid flat: the photo sent through the measured map to millimetres, its rows level, with a ruler along
 * two sides. Laying a real ruler on the screen is not the point; seeing that every centimetre holds the same number
 * of stitches is.
 */
export function FlatSwatch({ src, measurement }: { src: string; measurement: Measurement }) {
  const format = useFormat();
  const frameRef = useRef<HTMLDivElement>(null);
  const [widthCss, setWidthCss] = useState(320);
  useLayoutEffect(() => {
    const frame = frameRef.current;
    if (!frame) return;
    const watch = new ResizeObserver(() => setWidthCss(frame.clientWidth));
    watch.observe(frame);
    return () => watch.disconnect();
  }, []);

  const flat = layFlat(measurement);
  if (!flat) return null;
  const { toFlatMm, widthMm, heightMm } = flat;
  const cssPerMm = widthCss / widthMm;
  const zoom: Matrix3 = [cssPerMm, 0, 0, 0, cssPerMm, 0, 0, 0, 1];
  const step = format.mmPerUnit;
  const fine = format.lengths === 'cm' ? 1 : 25.4 / 8;

  return (
    <figure className="flat">
      <div ref={frameRef} className="flat-frame" style={{ height: heightMm * cssPerMm }}>
        <img
          src={src}
          alt={text('flat.alt')}
          style={{
            width: measurement.photo.widthPx,
            height: measurement.photo.heightPx,
            transform: toCssMatrix3d(multiply(zoom, toFlatMm)),
          }}
        />
        <svg viewBox={`0 0 ${widthMm} ${heightMm}`} aria-hidden="true">
          <Ruler lengthMm={widthMm} fineMm={fine} stepMm={step} />
          <g transform="matrix(0 1 1 0 0 0)">
            <Ruler lengthMm={heightMm} fineMm={fine} stepMm={step} mirrored />
          </g>
        </svg>
      </div>
      <figcaption className="field-help">{text('flat.caption', { unit: format.lengthUnit })}</figcaption>
    </figure>
  );
}

function Ruler({
  lengthMm,
  fineMm,
  stepMm,
  mirrored = false,
}: {
  lengthMm: number;
  fineMm: number;
  stepMm: number;
  mirrored?: boolean;
}) {
  const ticks = Array.from({ length: Math.floor(lengthMm / fineMm) + 1 }, (_, index) => index * fineMm);
  const isStep = (mm: number) => Math.abs(mm / stepMm - Math.round(mm / stepMm)) < 1e-6;
  return (
    <g className="flat-ruler">
      <rect width={lengthMm} height={7} />
      {ticks.map((mm) => (
        <path key={mm} d={`M${mm} 0v${isStep(mm) ? 4 : 2}`} />
      ))}
      {ticks
        .filter((mm) => isStep(mm) && mm > 0 && mm < lengthMm - 3)
        .map((mm) => (
          <text
            key={mm}
            x={mirrored ? undefined : mm}
            y={mirrored ? undefined : 6.6}
            transform={mirrored ? `matrix(0 1 1 0 ${mm + 1} 6.6)` : undefined}
            textAnchor="middle"
            fontSize={2.8}
          >
            {Math.round(mm / stepMm)}
          </text>
        ))}
    </g>
  );
}

/** The map from photo pixels to a flat picture in millimetres: stitches run right, and the fabric fills it. */
function layFlat(measurement: Measurement) {
  const { scale, lattice, overlay } = measurement;
  if (!scale || !lattice || !overlay || overlay.fabricOutlinePx.length < 3) return null;
  const h = scale.homographyPxToMm;
  const middle = overlay.fabricOutlinePx.reduce(
    (sum, p) => ({
      x: sum.x + p.x / overlay.fabricOutlinePx.length,
      y: sum.y + p.y / overlay.fabricOutlinePx.length,
    }),
    { x: 0, y: 0 },
  );
  const angle = (lattice.stitchAngleDeg * Math.PI) / 180;
  const from = throughHomography(h, middle);
  const to = throughHomography(h, {
    x: middle.x + 50 * Math.cos(angle),
    y: middle.y + 50 * Math.sin(angle),
  });
  const turn = -Math.atan2(to.y - from.y, to.x - from.x);
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const turned = multiply([c, -s, 0, s, c, 0, 0, 0, 1], h);
  const outline = overlay.fabricOutlinePx.map((p) => throughHomography(turned, p));
  const xs = outline.map((p) => p.x);
  const ys = outline.map((p) => p.y);
  const left = Math.min(...xs) - MARGIN_MM;
  const top = Math.min(...ys) - MARGIN_MM;
  return {
    toFlatMm: multiply([1, 0, -left, 0, 1, -top, 0, 0, 1], turned),
    widthMm: Math.max(...xs) + MARGIN_MM - left,
    heightMm: Math.max(...ys) + MARGIN_MM - top,
  };
}
