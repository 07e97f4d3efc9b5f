import {
  MM_PER_10CM,
  MM_PER_4IN,
  type Estimate,
  type Plan,
  type ReadyPlanSpec,
  type Rounding,
} from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { Ribbon } from '../lib/ribbon.tsx';
import { useSay } from '../lib/say.ts';
import { hasText, text } from '../lib/text.ts';
import { PiecePicture } from './piece-picture.tsx';

/** The counts a maker takes instead of what the rounding gave. */
export interface Pick {
  chain: number;
  rows: number;
}

const spreadOf = (estimate: Estimate) => (estimate.high95 - estimate.low95) / 2;

/** The answer in short: chain, rows, border and finished size, and the skeins to buy. */
export function PlanFigures({ plan }: { plan: Plan }) {
  const format = useFormat();
  const { finished, border, yarn } = plan;
  const crochet = plan.craft === 'crochet';
  return (
    <dl className="plan-figures">
      <div>
        <dt>{text(crochet ? 'result.chain' : 'result.castOn')}</dt>
        <dd data-testid="chain">{formatNumber(crochet ? plan.chain : plan.stitches)}</dd>
        {crochet && <dd>{text('result.stitches', { n: plan.stitches })}</dd>}
      </div>
      <div>
        <dt>{text('result.rows')}</dt>
        <dd data-testid="rows">{formatNumber(plan.rows)}</dd>
        {border && <dd>{text('result.perRow')}</dd>}
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
      <div className="plan-yarn">
        <dt>{text('result.yarn')}</dt>
        {yarn ? (
          <dd className="plan-yarn-list">
            <ul>
              {yarn.perColour.map((each) => (
                <li key={each.colour}>
                  {each.skeins
                    ? text('result.skeins', {
                        name: each.name,
                        n: each.skeins.forSafety95,
                        grams: format.grams(each.grams.value),
                      })
                    : text('result.gramsOnly', { name: each.name, grams: format.grams(each.grams.value) })}
                </li>
              ))}
            </ul>
          </dd>
        ) : (
          <dd className="plan-yarn-list">{text('yarn.unknown')}</dd>
        )}
      </div>
    </dl>
  );
}

/** Cautions that come with a size or a use: plainly, before anything else. */
export function Cautions({ plan }: { plan: Plan }) {
  return plan.cautions.map((caution) => (
    <div key={caution.code} className="caution" role="note">
      <strong>{text('caution.heading')}</strong>
      <p>{cautionWords(caution)}</p>
    </div>
  ));
}

/** The gauge that everything else was worked out from. */
export function GaugeLine({ plan }: { plan: Plan }) {
  const format = useFormat();
  const per = format.lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const write = (figure: Estimate) =>
    text('gauge.of', {
      value: formatNumber(figure.value * per, 1),
      spread: formatNumber(spreadOf(figure) * per, 1),
    });
  return (
    <p>
      {text('result.gauge', {
        stitch: plan.stitch.name,
        stitches: write(plan.gauge.stitchesPer10cm),
        rows: write(plan.gauge.rowsPer10cm),
        unit: text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm'),
      })}
    </p>
  );
}

/** The piece to scale. */
export function PlanPicture({ plan, ready }: { plan: Plan; ready: ReadyPlanSpec }) {
  return (
    <figure className="plan-part">
      <PiecePicture plan={plan} ready={ready} />
      <figcaption className="field-help">{text('picture.caption')}</figcaption>
    </figure>
  );
}

/** A caution in the catalogue's words. */
export function cautionWords(caution: Plan['cautions'][number]): string {
  const key = `caution.${caution.code}`;
  return hasText(key) ? text(key) : caution.message;
}

/** What lies next to the choice, so that the maker can take it instead. */
export function Neighbours({
  plan,
  rounding,
  onRounding,
  onPick,
}: {
  plan: Plan;
  rounding: Rounding;
  onRounding: (rounding: Rounding) => void;
  onPick: (pick: Pick) => void;
}) {
  const format = useFormat();
  const crochet = plan.craft === 'crochet';
  const off = (mm: number) =>
    `${mm < 0 ? '−' : '+'}${format.lengthNumber(Math.abs(mm))}\u00a0${format.lengthUnit}`;
  return (
    <div className="plan-part no-print">
      <h3>{text('neighbours.heading')}</h3>
      <p className="field-help">{text('neighbours.why')}</p>
      <Ribbon<Rounding>
        label={text('size.rounding')}
        showLabel
        value={rounding}
        onChange={onRounding}
        options={[
          { value: 'nearest', label: text('size.nearest') },
          { value: 'not-smaller', label: text('size.notSmaller') },
          { value: 'not-larger', label: text('size.notLarger') },
        ]}
      />
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
  const say = useSay();
  return (
    <div className="plan-part">
      <h3>{text('instructions.heading')}</h3>
      <ol className="instructions">
        {plan.steps.map((step, index) => (
          <li key={index}>{say(step)}</li>
        ))}
      </ol>
    </div>
  );
}
