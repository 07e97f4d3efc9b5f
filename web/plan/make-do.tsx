import { useId, useMemo, useState } from 'react';
import { CalcError, searchPlans, type FoundPlan, type PlanSpec } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { refusalWords, useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { ColourOptions } from './colour-options.tsx';

/** The best that can be made of the skeins there are: every fitting chain, row count and border is tried. */
export function MakeDo({ spec, onTake }: { spec: PlanSpec; onTake: (found: FoundPlan) => void }) {
  const id = useId();
  const format = useFormat();
  const say = useSay();
  const colours = spec.colours ?? [];
  const [skeins, setSkeins] = useState<Record<string, number | null>>({});
  const [endColour, setEndColour] = useState('');
  const found = useMemo(() => {
    const most = Object.fromEntries(
      Object.entries(skeins).filter((entry): entry is [string, number] => entry[1] !== null),
    );
    if (Object.keys(most).length === 0 && !endColour) return null;
    const rounds = spec.border?.rounds ?? 0;
    const { fixed: _fixed, ...free } = spec;
    try {
      return searchPlans(free, {
        maxSkeins: most,
        ...(endColour ? { endColour } : {}),
        ...(rounds > 0 ? { borderRounds: [rounds - 1, rounds, rounds + 1].filter((n) => n > 0) } : {}),
      });
    } catch (error) {
      if (error instanceof CalcError) return refusalWords(error, format.lengths);
      throw error;
    }
  }, [spec, skeins, endColour, format.lengths]);

  return (
    <div className="fold-inside">
      <p className="field-help">{text('makeDo.how')}</p>
      <div className="line-up line-up-three">
        {colours.map((colour) => (
          <NumberInput
            key={colour.id}
            label={text('makeDo.skeins', { name: colour.name ?? colour.id })}
            value={skeins[colour.id] ?? null}
            max={1000}
            optional
            onChange={(n) => setSkeins({ ...skeins, [colour.id]: n })}
          />
        ))}
        {colours.length > 1 && (
          <div className="field">
            <label htmlFor={id}>{text('makeDo.end')}</label>
            <select id={id} value={endColour} onChange={(event) => setEndColour(event.currentTarget.value)}>
              <option value="">{text('makeDo.endAny')}</option>
              <ColourOptions colours={colours} />
            </select>
          </div>
        )}
      </div>
      {typeof found === 'string' && <p className="wrong">{found}</p>}
      {found && typeof found !== 'string' && found.plans.length === 0 && (
        <ul className="advice">
          {found.becauseSaid.map((reason, index) => (
            <li key={index}>{say(reason)}</li>
          ))}
        </ul>
      )}
      {found && typeof found !== 'string' && (
        <ol className="option-list">
          {found.plans.map((plan) => (
            <li key={`${plan.chain} ${plan.rows} ${plan.borderRounds} ${plan.borderColours.join()}`}>
              <p>
                <strong>
                  {text('makeDo.plan', {
                    chain: plan.chain,
                    rows: plan.rows,
                    rounds: plan.borderRounds,
                    size: format.size(plan.widthMm, plan.heightMm),
                  })}
                </strong>
              </p>
              {plan.givesUp.length > 0 && (
                <p className="field-help">
                  {text('makeDo.givesUp', { what: new Intl.ListFormat().format(plan.givesUpSaid.map(say)) })}
                </p>
              )}
              <button type="button" className="button" onClick={() => onTake(plan)}>
                {text('makeDo.take')}
              </button>
            </li>
          ))}
        </ol>
      )}
    </div>
  );
}
