import { useId } from 'react';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import type { PlanDraft } from './draft.ts';
import type { DraftColour } from './layout-draft.ts';

type DyeLot = NonNullable<DraftColour['dyeLots']>[number];

const MOST_LOTS = 12;

/** The skeins at hand, by dye lot: skeins of one lot match, those of another may not. */
export function DyeLotFields({
  draft,
  onChange,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
}) {
  const colours = draft.colours ?? [];
  const setLots = (colourId: string, lots: DyeLot[]) =>
    onChange({
      ...draft,
      colours: colours.map((one) =>
        one.id === colourId ? { ...one, dyeLots: lots.length > 0 ? lots : undefined } : one,
      ),
    });
  return (
    <fieldset className="plan-group">
      <legend>{text('lots.heading')}</legend>
      <p className="field-help">{text('lots.why')}</p>
      <ul className="layout-list">
        {colours.flatMap((colour) =>
          (colour.dyeLots ?? []).map((lot, index) => (
            <LotLine
              key={`${colour.id} ${index}`}
              name={colour.name ?? colour.id}
              number={index + 1}
              lot={lot}
              onChange={(changed) =>
                setLots(
                  colour.id,
                  (colour.dyeLots ?? []).map((one, i) => (i === index ? changed : one)),
                )
              }
              onRemove={() =>
                setLots(
                  colour.id,
                  (colour.dyeLots ?? []).filter((_, i) => i !== index),
                )
              }
            />
          )),
        )}
      </ul>
      <div className="line-up">
        {colours
          .filter((colour) => (colour.dyeLots?.length ?? 0) < MOST_LOTS)
          .map((colour) => (
            <button
              key={colour.id}
              type="button"
              className="button"
              onClick={() =>
                setLots(colour.id, [
                  ...(colour.dyeLots ?? []),
                  { lot: text('lots.fresh', { n: (colour.dyeLots?.length ?? 0) + 1 }), skeins: 1 },
                ])
              }
            >
              {text('lots.add', { name: colour.name ?? colour.id })}
            </button>
          ))}
      </div>
    </fieldset>
  );
}

function LotLine({
  name,
  number,
  lot,
  onChange,
  onRemove,
}: {
  name: string;
  number: number;
  lot: DyeLot;
  onChange: (lot: DyeLot) => void;
  onRemove: () => void;
}) {
  const id = useId();
  return (
    <li>
      <div className="field">
        <label htmlFor={id}>{text('lots.lot', { name, n: number })}</label>
        <input
          id={id}
          type="text"
          autoComplete="off"
          maxLength={60}
          value={lot.lot}
          onChange={(event) =>
            event.currentTarget.value && onChange({ ...lot, lot: event.currentTarget.value })
          }
        />
      </div>
      <NumberInput
        label={text('lots.skeins', { name, n: number })}
        value={lot.skeins}
        max={1000}
        onChange={(skeins) => skeins !== null && onChange({ ...lot, skeins })}
      />
      <button
        type="button"
        className="button button-quiet colour-remove"
        aria-label={text('layout.remove', { what: text('lots.named', { name, lot: lot.lot }) })}
        onClick={onRemove}
      >
        <svg viewBox="0 0 16 16" aria-hidden="true">
          <path d="M3 3l10 10M13 3L3 13" />
        </svg>
      </button>
    </li>
  );
}
