import type { Plan, ReadyPlanSpec, Rounding } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { Ribbon } from '../lib/ribbon.tsx';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { PiecePicture } from './piece-picture.tsx';
import { ToYarns } from './to-yarns.tsx';
import { cautionWords, gaugeSentence, planFigures } from './plan-words.ts';

/** The counts a maker takes instead of what the rounding gave. */
export interface Pick {
  chain: number;
  rows: number;
}

/** The answer in short: chain, rows, border and finished size, and the skeins to buy. */
export function PlanFigures({ plan }: { plan: Plan }) {
  const format = useFormat();
  const { yarn } = plan;
  return (
    <dl className="plan-figures">
      {planFigures(plan, format).map(({ key, name, main, below }) => (
        <div key={key} className={key === 'size' ? 'plan-size' : undefined}>
          <dt>{name}</dt>
          <dd data-testid={key}>{main}</dd>
          {below.map((line) => (
            <dd key={line}>{line}</dd>
          ))}
        </div>
      ))}
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
          <dd className="plan-yarn-list">
            {text('yarn.unknown')} <ToYarns />
          </dd>
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
  return <p>{gaugeSentence(plan, format)}</p>;
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
  const off = (mm: number) => {
    const written = format.length(Math.abs(mm));
    // What is written as nothing has no sign.
    if (written === format.length(0)) return written;
    return `${mm < 0 ? '−' : '+'}${written}`;
  };
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
