import { useId } from 'react';

/**
 * A strip of 10 cm with the stitches (or rows) drawn on it at their true spacing above a ruler's ticks:
 * the number as something to lay beside the swatch.
 */
export function GaugeStrip({
  per10cm,
  axis,
  label,
}: {
  per10cm: number;
  axis: 'stitches' | 'rows';
  label: string;
}) {
  const clip = useId();
  const pitch = 100 / per10cm;
  const marks = Array.from({ length: Math.ceil(per10cm) }, (_, index) => index * pitch);
  return (
    <svg className="gauge-strip" viewBox="-0.6 0 101.2 14" role="img" aria-label={label}>
      <clipPath id={clip}>
        <rect width="100" height="14" />
      </clipPath>
      <g clipPath={`url(#${clip})`}>
        {marks.map((x) =>
          axis === 'stitches' ? (
            <path
              key={x}
              className="gauge-strip-stitch"
              d={`M${x + pitch * 0.06} 1.2q${pitch * 0.1} 4.2 ${pitch * 0.44} 5.6q${pitch * 0.34} -1.4 ${pitch * 0.44} -5.6`}
            />
          ) : (
            <path
              key={x}
              className="gauge-strip-row"
              d={`M${x + pitch / 2} 1v6`}
              strokeWidth={pitch * 0.62}
            />
          ),
        )}
      </g>
      <path className="gauge-strip-edge" d="M0 8.6H100" />
      {Array.from({ length: 101 }, (_, mm) => (
        <path
          key={mm}
          className="gauge-strip-edge"
          d={`M${mm} 8.6v${mm % 10 === 0 ? 4.6 : mm % 5 === 0 ? 3.2 : 1.8}`}
        />
      ))}
    </svg>
  );
}
