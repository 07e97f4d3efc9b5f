import { STAGES } from '../../vision/measurement.ts';
import type { Measuring } from './use-measuring.ts';
import { text } from '../lib/text.ts';

/** The stages as they finish, and a way to stop. */
export function Stages({ measuring, onStop }: { measuring: Measuring; onStop: () => void }) {
  const done = measuring.job?.stagesDone ?? [];
  const current = STAGES.find((stage) => !done.includes(stage));
  const waiting = measuring.job?.state === 'queued' && (measuring.job.queuedBefore ?? 0) > 0;
  const now =
    measuring.phase === 'sending'
      ? text('stage.sending')
      : waiting
        ? text('stage.queued', { n: measuring.job?.queuedBefore ?? 0 })
        : text(current ? `stage.${current}` : 'stage.overlay');
  return (
    <div className="stages">
      <p role="status" className="stages-now">
        {`${now}…`}
      </p>
      <ol className="stages-row" aria-label={text('stage.label')}>
        {STAGES.map((stage) => (
          <li key={stage} data-done={done.includes(stage) || undefined}>
            <span className="only-read">
              {text(`stage.${stage}`)}
              {done.includes(stage) && `: ${text('stage.done')}`}
            </span>
          </li>
        ))}
      </ol>
      <button type="button" className="button" onClick={onStop}>
        {text('stage.cancel')}
      </button>
    </div>
  );
}
