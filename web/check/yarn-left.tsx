import type { PlanSpec } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { oftenOf } from '../plan/yarn-words.ts';
import type { CheckFacts } from './check-facts.ts';
import { nameOfColour } from './colour-name.ts';

/** What each yarn still has to do, and the chance that it does not last. */
export function YarnLeft({
  facts,
  colours,
}: {
  facts: CheckFacts;
  colours: NonNullable<PlanSpec['colours']>;
}) {
  const format = useFormat();
  if (facts.yarn.length === 0) return null;
  return (
    <ul className="yarn-sentences">
      {facts.yarn.map((one) => (
        <li key={one.colour}>
          {text('check.remaining', {
            name: nameOfColour(one.colour, colours),
            grams: format.grams(one.remainingGrams.value),
            chance: oftenOf(one.chanceOfRunningOut, format),
          })}{' '}
          {one.skeinsToBuy !== null && one.skeinsToBuy > 0 && text('check.buy', { n: one.skeinsToBuy })}
        </li>
      ))}
    </ul>
  );
}
