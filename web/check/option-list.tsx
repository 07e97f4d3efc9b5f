import type { RevisedOption } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';

/** The ways to finish, best first by what matters to her. */
export function OptionList({
  options,
  colourName,
}: {
  options: RevisedOption[];
  colourName: (id: string) => string;
}) {
  const format = useFormat();
  const say = useSay();
  return (
    <ol className="option-list">
      {options.map((option) => (
        <li key={option.description}>
          <p>
            <strong>{say(option.said)}</strong>
          </p>
          <p>
            {text('options.size', { size: format.size(option.widthMm.value, option.heightMm.value) })}{' '}
            {option.chanceOfRunningOut !== null &&
              text('options.chance', { chance: format.percent(option.chanceOfRunningOut) })}{' '}
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
