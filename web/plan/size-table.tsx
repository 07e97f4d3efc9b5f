import { useMemo, useState } from 'react';
import { CalcError, sizeTable, SIZE_PRESETS, type PlanSpec } from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { refusalWords } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { NAMED_SIZES } from './named-sizes.ts';
import { cautionWords } from './plan-words.ts';

const FIRST_SIZES = ['baby-blanket', 'lap-blanket', 'throw'];

/** One gauge, several sizes: the table for a pattern that is offered in more than one. */
export function SizeTable({ spec }: { spec: PlanSpec }) {
  const format = useFormat();
  const [chosen, setChosen] = useState(FIRST_SIZES);
  const rows = useMemo(() => {
    const { fixed: _fixed, ...pattern } = spec;
    try {
      return sizeTable(
        pattern,
        SIZE_PRESETS.filter((preset) => chosen.includes(preset.key)).map((preset) => preset.key),
      );
    } catch (error) {
      if (error instanceof CalcError) return refusalWords(error, format.lengths);
      throw error;
    }
  }, [spec, chosen, format.lengths]);
  const nameOf = (name: string) =>
    NAMED_SIZES.find((size) => SIZE_PRESETS.some((p) => p.key === size.key && p.name === name))?.name ?? name;

  return (
    <div className="fold-inside">
      <fieldset className="plan-group">
        <legend>{text('sizes.which')}</legend>
        <div className="show-row">
          {NAMED_SIZES.map((size) => (
            <label key={size.key} className="tick">
              <input
                type="checkbox"
                checked={chosen.includes(size.key)}
                onChange={(event) =>
                  setChosen(
                    event.currentTarget.checked
                      ? [...chosen, size.key]
                      : chosen.filter((key) => key !== size.key),
                  )
                }
              />
              {size.name}
            </label>
          ))}
        </div>
      </fieldset>
      {typeof rows === 'string' ? (
        <p className="wrong">{rows}</p>
      ) : (
        rows.length > 0 && (
          <>
            <div className="scroll-x" tabIndex={0} role="region" aria-label={text('sizes.heading')}>
              <table className="table">
                <thead>
                  <tr>
                    <th scope="col">{text('sizes.size')}</th>
                    <th scope="col" className="number">
                      {text(rows[0]?.plan.craft === 'knit' ? 'result.castOn' : 'result.chain')}
                    </th>
                    <th scope="col" className="number">
                      {text('result.rows')}
                    </th>
                    <th scope="col" className="number">
                      {text('sizes.rounds')}
                    </th>
                    <th scope="col" className="number">
                      {text('result.size')}
                    </th>
                    {rows[0]?.yarn.map((each) => (
                      <th key={each.colour} scope="col" className="number">
                        {each.name}
                      </th>
                    ))}
                  </tr>
                </thead>
                <tbody>
                  {rows.map((row) => (
                    <tr key={row.name}>
                      <th scope="row">{nameOf(row.name)}</th>
                      <td className="number">
                        {formatNumber(row.plan.craft === 'knit' ? row.stitches : row.chain)}
                      </td>
                      <td className="number">{formatNumber(row.rows)}</td>
                      <td className="number">
                        {row.borderRounds.map((stitches) => formatNumber(stitches)).join(', ') || '–'}
                      </td>
                      <td className="number">
                        {format.size(row.finished.widthMm.value, row.finished.heightMm.value)}
                      </td>
                      {row.yarn.map((each) => (
                        <td key={each.colour} className="number">
                          {format.grams(each.grams.value)}
                          {each.skeins !== null && (
                            <span className="table-spread">
                              {text('yarn.chancesWith', { n: each.skeins })}
                            </span>
                          )}
                        </td>
                      ))}
                    </tr>
                  ))}
                </tbody>
              </table>
            </div>
            {rows.some((row) => row.cautions.length > 0) && (
              <div className="caution" role="note">
                <strong>{text('caution.heading')}</strong>
                <p>
                  {rows
                    .flatMap((row) => row.cautions)
                    .slice(0, 1)
                    .map(cautionWords)}
                </p>
              </div>
            )}
          </>
        )
      )}
    </div>
  );
}
