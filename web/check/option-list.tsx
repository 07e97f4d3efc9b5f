import type { RevisedOption } from '../../calc/index.ts';
import { Fold } from '../lib/fold.tsx';
import { useFormat } from '../lib/format.ts';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { oftenOf } from '../plan/yarn-words.ts';

/** As many as can be weighed against each other at a look. */
const AT_ONCE = 4;
/** A taper that nobody sees is not worth a word. */
const LEAST_TAPER_MM = 5;

interface OptionListProps {
  options: RevisedOption[];
  colourName: (id: string) => string;
}

/** The ways to finish, best first by what matters to her; those far down the list only when asked for. */
export function OptionList({ options, colourName }: OptionListProps) {
  const more = options.slice(AT_ONCE);
  return (
    <>
      <Options options={options.slice(0, AT_ONCE)} colourName={colourName} />
      {more.length > 0 && (
        <Fold summary={text('options.more', { n: more.length })}>
          {() => <Options options={more} colourName={colourName} from={AT_ONCE + 1} />}
        </Fold>
      )}
    </>
  );
}

function Options({ options, colourName, from = 1 }: OptionListProps & { from?: number }) {
  const format = useFormat();
  const say = useSay();
  return (
    <ol className="option-list" start={from} data-best={from === 1 || undefined}>
      {options.map((option) => (
        <li key={option.description}>
          <p>
            <strong>{say(option.said)}</strong>
          </p>
          <p>
            {text('options.size', { size: format.size(option.widthMm.value, option.heightMm.value) })}{' '}
            {Math.abs(option.lastMinusFirstRowMm) >= LEAST_TAPER_MM &&
              text(option.lastMinusFirstRowMm < 0 ? 'options.narrows' : 'options.widens', {
                length: format.length(Math.abs(option.lastMinusFirstRowMm)),
              })}{' '}
            {option.chanceOfRunningOut !== null &&
              text('options.chance', { chance: oftenOf(option.chanceOfRunningOut, format) })}{' '}
            {option.rippedRows > 0 && text('options.ripped', { n: option.rippedRows })}
          </p>
          {option.yarn?.some((one) => one.gramsAvailable !== null) && (
            <p className="field-help">
              {new Intl.ListFormat().format(
                option.yarn
                  .filter((one) => one.gramsAvailable !== null)
                  .map((one) =>
                    text('options.yarn', {
                      name: colourName(one.colour),
                      need: format.grams(one.gramsNeeded.value),
                      have: format.grams(one.gramsAvailable ?? 0),
                    }),
                  ),
              )}
            </p>
          )}
        </li>
      ))}
    </ol>
  );
}
