import { useId } from 'react';
import { METRES_PER_YARD } from '../../calc/index.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import { useFormat } from '../lib/format.ts';
import type { PlanDraft } from './draft.ts';
import { YARNS_ID } from './to-yarns.tsx';
import { addColour, removeColour, type DraftColour } from './layout-draft.ts';

interface Props {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
}

const MOST_COLOURS = 12;

/** The yarns: name, colour, and what the label of one skein says. */
export function ColourFields({ draft, onChange }: Props) {
  const colours = draft.colours ?? [];
  const format = useFormat();
  const changeAt = (index: number, part: Partial<DraftColour>) =>
    onChange({ ...draft, colours: colours.map((one, i) => (i === index ? { ...one, ...part } : one)) });
  const perUnit = format.lengths === 'in' ? METRES_PER_YARD : 1;
  return (
    <fieldset className="plan-group" id={YARNS_ID}>
      <legend>{text('colour.heading')}</legend>
      <ul className="colour-list">
        {colours.map((colour, index) => (
          <li key={colour.id} className="colour-row">
            <ColourName colour={colour} index={index} onChange={(part) => changeAt(index, part)} />
            <NumberInput
              label={text('colour.skeinGrams')}
              value={numberOrNull(colour.skeinGrams)}
              min={1}
              max={5000}
              optional
              onChange={(skeinGrams) => changeAt(index, { skeinGrams: skeinGrams ?? undefined })}
            />
            <NumberInput
              label={text('colour.skeinLength', {
                unit: text(format.lengths === 'in' ? 'unit.yd' : 'unit.m'),
              })}
              value={roundTo(numberOrNull(colour.skeinMetres), perUnit)}
              min={1}
              max={50000}
              optional
              onChange={(length) =>
                changeAt(index, { skeinMetres: length === null ? undefined : length * perUnit })
              }
            />
            {colours.length > 1 && (
              <button
                type="button"
                className="button button-quiet colour-remove"
                aria-label={text('colour.remove', { name: colour.name ?? colour.id })}
                onClick={() => onChange(removeColour(draft, colour.id))}
              >
                <svg viewBox="0 0 16 16" aria-hidden="true">
                  <path d="M3 3l10 10M13 3L3 13" />
                </svg>
              </button>
            )}
          </li>
        ))}
      </ul>
      {colours.length < MOST_COLOURS && (
        <button
          type="button"
          className="button"
          onClick={() => onChange(addColour(draft, text('colour.fresh', { n: colours.length + 1 })))}
        >
          {text('colour.add')}
        </button>
      )}
    </fieldset>
  );
}

function ColourName({
  colour,
  index,
  onChange,
}: {
  colour: DraftColour;
  index: number;
  onChange: (part: Partial<DraftColour>) => void;
}) {
  const id = useId();
  return (
    <div className="field colour-name">
      <label htmlFor={id}>{text('colour.name', { n: index + 1 })}</label>
      <div className="colour-name-inputs">
        <input
          type="color"
          aria-label={text('colour.shade', { name: colour.name ?? colour.id })}
          value={colour.hex ?? '#888888'}
          onChange={(event) => onChange({ hex: event.currentTarget.value })}
        />
        <input
          id={id}
          type="text"
          autoComplete="off"
          value={colour.name ?? ''}
          maxLength={80}
          onChange={(event) => onChange({ name: event.currentTarget.value || undefined })}
        />
      </div>
    </div>
  );
}

const numberOrNull = (value: number | string | undefined): number | null =>
  typeof value === 'number' ? value : null;
const roundTo = (metres: number | null, perUnit: number): number | null =>
  metres === null ? null : Math.round((metres / perUnit) * 10) / 10;
