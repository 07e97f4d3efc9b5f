import type { Estimate, Plan, ReadyPlanSpec } from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { hasText, text } from '../lib/text.ts';
import { PiecePicture } from './piece-picture.tsx';
import type { Pick } from './use-plan.ts';

export interface PlanResultProps {
  plan: Plan;
  ready: ReadyPlanSpec;
  onPick: (pick: Pick) => void;
}

const spreadOf = (estimate: Estimate) => (estimate.high95 - estimate.low95) / 2;

/** The answer: chain, rows, border, size; the neighbours; the picture; the sentences. */
export function PlanResult({ plan, ready, onPick }: PlanResultProps) {
  const format = useFormat();
  const { finished, border } = plan;
  const crochet = plan.craft === 'crochet';
  return (
    <>
      {plan.cautions.map((caution) => (
        <div key={caution.code} className="caution" role="note">
          <strong>{text('caution.heading')}</strong>
          <p>{cautionText(caution)}</p>
        </div>
      ))}
      <dl className="plan-figures" aria-live="polite">
        <div>
          <dt>{text(crochet ? 'result.chain' : 'result.castOn')}</dt>
          <dd data-testid="chain">{formatNumber(crochet ? plan.chain : plan.stitches)}</dd>
          {crochet && <dd>{text('result.stitches', { n: plan.stitches })}</dd>}
        </div>
        <div>
          <dt>{text('result.rows')}</dt>
          <dd data-testid="rows">{formatNumber(plan.rows)}</dd>
          <dd>{text('result.perRow')}</dd>
        </div>
        <div>
          <dt>{text('result.border')}</dt>
          <dd>{border ? formatNumber(border.rounds.length) : text('result.none')}</dd>
          {border && <dd>{text('result.borderDepth', { depth: format.length(border.depthMm.value) })}</dd>}
        </div>
        <div className="plan-size">
          <dt>{text('result.size')}</dt>
          <dd data-testid="size">{format.size(finished.widthMm.value, finished.heightMm.value)}</dd>
          <dd>
            {text('result.sizeSpread', {
              width: format.lengthNumber(spreadOf(finished.widthMm)),
              height: format.length(spreadOf(finished.heightMm)),
            })}
          </dd>
        </div>
      </dl>
      <figure className="plan-part">
        <PiecePicture plan={plan} ready={ready} />
        <figcaption className="field-help">{text('picture.caption')}</figcaption>
      </figure>
      <Neighbours plan={plan} onPick={onPick} />
    </>
  );
}

function cautionText(caution: Plan['cautions'][number]): string {
  const key = `caution.${caution.code}`;
  return hasText(key) ? text(key) : caution.message;
}

/** What lies next to the choice, so that the maker can take it instead. */
function Neighbours({ plan, onPick }: { plan: Plan; onPick: (pick: Pick) => void }) {
  const format = useFormat();
  const crochet = plan.craft === 'crochet';
  const off = (mm: number) =>
    `${mm < 0 ? '−' : '+'}${format.lengthNumber(Math.abs(mm))}\u00a0${format.lengthUnit}`;
  return (
    <div className="plan-part">
      <h3>{text('neighbours.heading')}</h3>
      <p className="field-help">{text('neighbours.why')}</p>
      <div className="neighbours">
        <ul aria-label={text('neighbours.width')}>
          {plan.neighbours.width.map((one) => (
            <li key={one.chain}>
              <button
                type="button"
                className="choice"
                aria-pressed={one.chosen}
                onClick={() => onPick({ chain: one.chain, rows: plan.rows })}
              >
                <strong>
                  {text(crochet ? 'neighbours.chain' : 'neighbours.castOn', {
                    n: crochet ? one.chain : one.stitches,
                  })}
                </strong>
                <span>{text('neighbours.wide', { length: format.length(one.finishedWidthMm.value) })}</span>
                <span className="choice-off">{off(one.differenceMm)}</span>
              </button>
            </li>
          ))}
        </ul>
        <ul aria-label={text('neighbours.height')}>
          {plan.neighbours.height.map((one) => (
            <li key={one.rows}>
              <button
                type="button"
                className="choice"
                aria-pressed={one.chosen}
                onClick={() => onPick({ chain: plan.chain, rows: one.rows })}
              >
                <strong>{text('neighbours.rows', { n: one.rows })}</strong>
                <span>{text('neighbours.high', { length: format.length(one.finishedHeightMm.value) })}</span>
                <span className="choice-off">{off(one.differenceMm)}</span>
              </button>
            </li>
          ))}
        </ul>
      </div>
    </div>
  );
}

/** The plan in sentences. */
export function Instructions({ plan }: { plan: Plan }) {
  return (
    <div className="plan-part">
      <h3>{text('instructions.heading')}</h3>
      <ol className="instructions">
        {plan.instructions.map((line, index) => (
          <li key={index}>{line}</li>
        ))}
      </ol>
    </div>
  );
}
