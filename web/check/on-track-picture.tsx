import type { Drift, Plan, Projection, Uncertain } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';

/** The piece now, where it is heading, and what was promised, all to one scale. */
export function OnTrackPicture({
  plan,
  projection,
  drift,
  sizeNow,
}: {
  plan: Plan;
  projection: Projection;
  drift: Drift | null;
  /** Without the border, as measured; null where it was not. */
  sizeNow?: { widthMm: Uncertain | null; heightMm: Uncertain | null };
}) {
  const format = useFormat();
  const { target, widthMm, heightMm } = projection;
  const depth = plan.border?.depthMm.value ?? 0;
  const doneHeight = sizeNow?.heightMm?.value ?? projection.rowsDone * projection.rowHeightMm.value;
  const bodyWidth = sizeNow?.widthMm?.value ?? widthMm.value - 2 * depth;
  const widest = Math.max(target.widthMm, widthMm.high95);
  const tallest = Math.max(target.heightMm, heightMm.high95);
  const unit = Math.max(widest, tallest) / 100;
  const middle = widest / 2;
  const rect = (width: number, height: number) => ({
    x: middle - width / 2,
    y: tallest - height,
    width,
    height,
  });
  const drifting =
    drift && drift.status !== 'steady' && drift.status !== 'unknown' ? drift.ifContinued : null;
  const edge = drifting && {
    first: drifting.firstRowMm.value + 2 * depth,
    last: drifting.lastRowMm.value + 2 * depth,
  };
  return (
    <figure className="plan-part">
      <svg
        className="piece-picture on-track"
        viewBox={`${-unit * 4} ${-unit * 4} ${widest + unit * 8} ${tallest + unit * 8}`}
        role="img"
        aria-label={text('track.label', {
          now: format.length(doneHeight),
          projected: format.size(widthMm.value, heightMm.value),
          target: format.size(target.widthMm, target.heightMm),
        })}
      >
        <rect className="track-band" {...rect(widthMm.high95, heightMm.high95)} />
        <rect className="track-band-low" {...rect(widthMm.low95, heightMm.low95)} />
        {edge ? (
          <polygon
            className="track-projected"
            points={[
              `${middle - edge.first / 2},${tallest}`,
              `${middle + edge.first / 2},${tallest}`,
              `${middle + edge.last / 2},${tallest - heightMm.value}`,
              `${middle - edge.last / 2},${tallest - heightMm.value}`,
            ].join(' ')}
          />
        ) : (
          <rect className="track-projected" {...rect(widthMm.value, heightMm.value)} />
        )}
        <rect
          className="track-now"
          x={middle - bodyWidth / 2}
          y={tallest - depth - doneHeight}
          width={bodyWidth}
          height={doneHeight}
        />
        <rect className="track-target" {...rect(target.widthMm, target.heightMm)} />
      </svg>
      <figcaption>
        <ul className="track-key">
          <li>
            <Key className="track-now" />{' '}
            {text(plan.border ? 'track.nowBody' : 'track.now', { height: format.length(doneHeight) })}
          </li>
          <li>
            <Key className="track-projected" />{' '}
            {text('track.projected', { size: format.size(widthMm.value, heightMm.value) })}
          </li>
          <li>
            <Key className="track-target" />{' '}
            {text('track.target', { size: format.size(target.widthMm, target.heightMm) })}
          </li>
        </ul>
      </figcaption>
    </figure>
  );
}

function Key({ className }: { className: string }) {
  return (
    <svg className="track-key-mark" viewBox="0 0 24 16" aria-hidden="true">
      <rect className={className} x={2} y={2} width={20} height={12} />
    </svg>
  );
}
