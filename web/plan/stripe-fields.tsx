import { useId } from 'react';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import { ColourOptions } from './colour-options.tsx';
import { ColourSelect } from './colour-select.tsx';
import { movedUp, type LayoutPartProps } from './layout-draft.ts';
import { LineButtons } from './line-buttons.tsx';

/** Stripes from the bottom up: their colours and rows, and which colour the piece ends in. */
export function StripeFields({ draft, layout, onChange }: LayoutPartProps<'stripes'>) {
  const { stripes } = layout;
  const endId = useId();
  // A piece cannot end in a colour that no stripe has any more.
  const changeStripes = (changed: typeof stripes) =>
    onChange({
      ...layout,
      stripes: changed,
      endWith: changed.some((stripe) => stripe.colour === layout.endWith) ? layout.endWith : undefined,
    });
  const setAt = (index: number, part: Partial<(typeof stripes)[number]>) =>
    changeStripes(stripes.map((one, i) => (i === index ? { ...one, ...part } : one)));
  return (
    <>
      <p className="field-help">{text('layout.fromBottom')}</p>
      <ol className="layout-list">
        {stripes.map((stripe, index) => (
          <li key={index}>
            <ColourSelect
              label={text('layout.stripeColour', { n: index + 1 })}
              colours={draft.colours ?? []}
              value={stripe.colour}
              onChange={(colour) => setAt(index, { colour })}
            />
            <NumberInput
              label={text('layout.stripeRows', { n: index + 1 })}
              value={stripe.rows}
              min={1}
              max={500}
              whole
              onChange={(rows) => rows !== null && setAt(index, { rows })}
            />
            <LineButtons
              name={text('layout.stripe', { n: index + 1 })}
              onUp={index > 0 ? () => onChange({ ...layout, stripes: movedUp(stripes, index) }) : undefined}
              onRemove={
                stripes.length > 1 ? () => changeStripes(stripes.filter((_, i) => i !== index)) : undefined
              }
            />
          </li>
        ))}
      </ol>
      <div className="line-up">
        <button
          type="button"
          className="button"
          onClick={() =>
            onChange({
              ...layout,
              stripes: [...stripes, { colour: stripes[0]?.colour ?? 'a', rows: stripes.at(-1)?.rows ?? 2 }],
            })
          }
        >
          {text('layout.addStripe')}
        </button>
        <label className="tick">
          <input
            type="checkbox"
            checked={layout.partLastStripe === false}
            onChange={(event) =>
              onChange({ ...layout, partLastStripe: event.currentTarget.checked ? false : undefined })
            }
          />
          {text('layout.wholeStripes')}
        </label>
      </div>
      <div className="field">
        <label htmlFor={endId}>{text('layout.endWith')}</label>
        <select
          id={endId}
          value={layout.endWith ?? ''}
          onChange={(event) => onChange({ ...layout, endWith: event.currentTarget.value || undefined })}
        >
          <option value="">{text('layout.endWithAny')}</option>
          <ColourOptions
            colours={(draft.colours ?? []).filter((colour) =>
              stripes.some((stripe) => stripe.colour === colour.id),
            )}
          />
        </select>
      </div>
    </>
  );
}
