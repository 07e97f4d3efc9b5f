import type { ColourYarn, Plan, ReadyPlanSpec } from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { spreadOf } from '../lib/spread-of.ts';
import { text } from '../lib/text.ts';
import { basisSentence, oftenOf, runningOutSentence } from './yarn-words.ts';

/** Yarn per colour: weight, length, skeins to buy, and the chance of running out as a sentence. */
export function YarnTable({
  plan,
  ready,
  detailed = false,
}: {
  plan: Plan;
  ready: ReadyPlanSpec;
  /** Also where the yarn goes, and the chance for every number of skeins. */
  detailed?: boolean;
}) {
  const format = useFormat();
  const { yarn } = plan;
  if (!yarn)
    return (
      <div className="plan-part">
        <h3>{text('yarn.heading')}</h3>
        <p>{text('yarn.unknown')}</p>
      </div>
    );
  return (
    <div className="plan-part">
      <h3>{text('yarn.heading')}</h3>
      <div className="scroll-x" tabIndex={0} role="region" aria-label={text('yarn.table')}>
        <table className="table">
          <thead>
            <tr>
              <th scope="col">{text('yarn.colour')}</th>
              <th scope="col" className="number">
                {text('yarn.grams')}
              </th>
              <th scope="col" className="number">
                {text('yarn.length')}
              </th>
              <th scope="col" className="number">
                {text('yarn.skeins')}
              </th>
            </tr>
          </thead>
          <tbody>
            {yarn.perColour.map((each) => (
              <tr key={each.colour}>
                <th scope="row">
                  <span className="colour-with-chip">
                    <span
                      className="colour-chip"
                      style={{
                        background: ready.colours.find((one) => one.id === each.colour)?.hex ?? 'transparent',
                      }}
                    />
                    {each.name}
                  </span>
                </th>
                <td className="number">
                  {format.grams(each.grams.value)}
                  <span className="table-spread">± {formatNumber(spreadOf(each.grams))}</span>
                </td>
                <td className="number">{each.metres ? format.yarn(each.metres.value) : '–'}</td>
                <td className="number" data-testid={`skeins-${each.colour}`}>
                  {each.skeins ? <strong>{formatNumber(each.skeins.forSafety95)}</strong> : '–'}
                </td>
              </tr>
            ))}
          </tbody>
          <tfoot>
            <tr>
              <th scope="row">{text('yarn.total')}</th>
              <td className="number">{format.grams(yarn.totalGrams.value)}</td>
              <td className="number">{yarn.totalMetres ? format.yarn(yarn.totalMetres.value) : '–'}</td>
              <td className="number">
                {formatNumber(yarn.perColour.reduce((sum, each) => sum + (each.skeins?.forSafety95 ?? 0), 0))}
              </td>
            </tr>
          </tfoot>
        </table>
      </div>
      <ul className="yarn-sentences">
        {yarn.perColour.map((each) => (
          <li key={each.colour}>{runningOutSentence(each, format)}</li>
        ))}
      </ul>
      <p className="field-help">{basisSentence(yarn.perColour, format)}</p>
      {detailed && <YarnDetails colours={yarn.perColour} />}
    </div>
  );
}

/** The risk that the number of skeins to buy is reckoned with. */
const SAFE_ENOUGH = 0.05;

const PARTS = ['fabric', 'foundationAndTurning', 'carried', 'border', 'tails', 'swatch'] as const;

function YarnDetails({ colours }: { colours: ColourYarn[] }) {
  const format = useFormat();
  // Where not a gram goes, no column is needed.
  const parts = PARTS.filter((part) => colours.some((each) => each.parts[part] >= 0.5));
  return (
    <>
      <LotSentences colours={colours} />
      <h3>{text('yarn.where')}</h3>
      <div className="scroll-x" tabIndex={0} role="region" aria-label={text('yarn.where')}>
        <table className="table">
          <thead>
            <tr>
              <th scope="col">{text('yarn.colour')}</th>
              {parts.map((part) => (
                <th key={part} scope="col" className="number">
                  {text(`yarn.part.${part}`)}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {colours.map((each) => (
              <tr key={each.colour}>
                <th scope="row">{each.name}</th>
                {parts.map((part) => (
                  <td key={part} className="number">
                    {format.grams(each.parts[part])}
                  </td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <h3>{text('yarn.chances')}</h3>
      <ul className="yarn-sentences">
        {colours.map(
          (each) =>
            each.skeins && (
              <li key={each.colour} className="chance-row">
                <strong>{each.name}</strong>
                {each.skeins.chances.map((one) => (
                  <span key={one.skeins} className="chance">
                    <span>{text('yarn.chancesWith', { n: one.skeins })}</span>
                    <meter min={0} max={1} low={0.05} high={0.2} optimum={0} value={one.chanceOfRunningOut}>
                      {oftenOf(one.chanceOfRunningOut, format)}
                    </meter>
                    <span>{oftenOf(one.chanceOfRunningOut, format)}</span>
                  </span>
                ))}
              </li>
            ),
        )}
      </ul>
    </>
  );
}

/** Whether one dye lot does for all of a colour, lot by lot. */
function LotSentences({ colours }: { colours: ColourYarn[] }) {
  const format = useFormat();
  const lots = colours.flatMap((each) => each.dyeLots.map((lot) => ({ ...lot, name: each.name })));
  if (lots.length === 0) return null;
  return (
    <>
      <h3>{text('lots.results')}</h3>
      <ul className="yarn-sentences">
        {lots.map((lot) => (
          <li key={`${lot.name} ${lot.lot}`} data-testid="lot-sentence">
            {text(lot.chanceOfRunningOut <= SAFE_ENOUGH ? 'lots.enough' : 'lots.short', {
              name: lot.name,
              lot: lot.lot,
              n: lot.skeins,
              chance: oftenOf(lot.chanceOfRunningOut, format),
            })}
          </li>
        ))}
      </ul>
    </>
  );
}
