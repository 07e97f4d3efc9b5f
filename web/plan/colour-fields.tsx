import { useId, type ReactNode } from 'react';
import { METRES_PER_YARD } from '../../calc/index.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';
import { useFormat } from '../lib/format.ts';
import type { PlanDraft } from './draft.ts';
import { ColourOptions } from './colour-options.tsx';
import { ColourSelect } from './colour-select.tsx';
import { addColour, asLayout, removeColour, type DraftColour, type DraftLayout } from './layout-draft.ts';

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
    <fieldset className="plan-group">
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

/** Where the colours go: one colour, stripes, or blocks; the children picture it beside the fields. */
export function LayoutFields({ draft, onChange, children }: Props & { children?: ReactNode }) {
  const layout: DraftLayout = draft.layout ?? { kind: 'solid' };
  const change = (changed: DraftLayout) => onChange({ ...draft, layout: changed });
  const kind = layout.kind === 'stripes' || layout.kind === 'blocks' ? layout.kind : 'solid';
  return (
    <fieldset className="plan-group">
      <legend>{text('layout.heading')}</legend>
      <Ribbon
        label={text('layout.kind')}
        value={kind}
        onChange={(chosen) => change(asLayout(chosen, draft))}
        options={[
          { value: 'solid', label: text('layout.solid') },
          { value: 'stripes', label: text('layout.stripes') },
          { value: 'blocks', label: text('layout.blocks') },
        ]}
      />
      {children && <div className="layout-picture no-print">{children}</div>}
      {layout.kind === 'solid' && (draft.colours?.length ?? 0) > 1 && (
        <ColourSelect
          label={text('layout.colour')}
          colours={draft.colours ?? []}
          value={layout.colour ?? draft.colours?.[0]?.id ?? ''}
          onChange={(colour) => change({ ...layout, colour })}
        />
      )}
      {layout.kind === 'stripes' && <StripeFields draft={draft} layout={layout} onChange={change} />}
      {layout.kind === 'blocks' && <BlockFields draft={draft} layout={layout} onChange={change} />}
    </fieldset>
  );
}

function StripeFields({
  draft,
  layout,
  onChange,
}: {
  draft: PlanDraft;
  layout: Extract<DraftLayout, { kind: 'stripes' }>;
  onChange: (layout: DraftLayout) => void;
}) {
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

function BlockFields({
  draft,
  layout,
  onChange,
}: {
  draft: PlanDraft;
  layout: Extract<DraftLayout, { kind: 'blocks' }>;
  onChange: (layout: DraftLayout) => void;
}) {
  const { bands } = layout;
  const setBand = (index: number, part: Partial<(typeof bands)[number]>) =>
    onChange({ ...layout, bands: bands.map((one, i) => (i === index ? { ...one, ...part } : one)) });
  return (
    <>
      <NumberInput
        label={text('layout.blockStitches')}
        value={layout.blockStitches ?? draft.multiple?.m ?? 10}
        min={1}
        max={1000}
        whole
        onChange={(blockStitches) => blockStitches !== null && onChange({ ...layout, blockStitches })}
      />
      <p className="field-help">{text('layout.bandsFromBottom')}</p>
      <ol className="layout-list">
        {bands.map((band, index) => (
          <li key={index} className="layout-band">
            <NumberInput
              label={text('layout.bandRows', { n: index + 1 })}
              value={band.rows}
              min={1}
              max={500}
              whole
              onChange={(rows) => rows !== null && setBand(index, { rows })}
            />
            <div className="field layout-across">
              <span className="field-label">{text('layout.across')}</span>
              <div className="line-up">
                {band.across.map((colour, place) => (
                  <ColourSelect
                    key={place}
                    label={text('layout.acrossOne', { band: index + 1, n: place + 1 })}
                    hideLabel
                    colours={draft.colours ?? []}
                    value={colour}
                    onChange={(chosen) =>
                      setBand(index, { across: band.across.map((one, i) => (i === place ? chosen : one)) })
                    }
                  />
                ))}
                {band.across.length < 8 && (
                  <button
                    type="button"
                    className="button"
                    aria-label={text('layout.acrossMore', { n: index + 1 })}
                    onClick={() => setBand(index, { across: [...band.across, band.across[0] ?? 'a'] })}
                  >
                    +
                  </button>
                )}
                {band.across.length > 1 && (
                  <button
                    type="button"
                    className="button"
                    aria-label={text('layout.acrossFewer', { n: index + 1 })}
                    onClick={() => setBand(index, { across: band.across.slice(0, -1) })}
                  >
                    −
                  </button>
                )}
              </div>
            </div>
            <LineButtons
              name={text('layout.band', { n: index + 1 })}
              onUp={index > 0 ? () => onChange({ ...layout, bands: movedUp(bands, index) }) : undefined}
              onRemove={
                bands.length > 1
                  ? () => onChange({ ...layout, bands: bands.filter((_, i) => i !== index) })
                  : undefined
              }
            />
          </li>
        ))}
      </ol>
      <div className="line-up">
        <button
          type="button"
          className="button"
          onClick={() => {
            const last = bands.at(-1);
            onChange({
              ...layout,
              bands: [...bands, { rows: last?.rows ?? 10, across: [...(last?.across ?? ['a'])].reverse() }],
            });
          }}
        >
          {text('layout.addBand')}
        </button>
        <label className="tick">
          <input
            type="checkbox"
            checked={layout.carried !== false}
            onChange={(event) => onChange({ ...layout, carried: event.currentTarget.checked })}
          />
          {text('layout.carried')}
        </label>
      </div>
    </>
  );
}

/** The list with one line changed places with the one before it. */
function movedUp<T>(list: T[], index: number): T[] {
  const moved = [...list];
  moved.splice(index - 1, 0, ...moved.splice(index, 1));
  return moved;
}

function LineButtons({ name, onUp, onRemove }: { name: string; onUp?: () => void; onRemove?: () => void }) {
  const shown = [
    { key: 'up', label: text('layout.up', { what: name }), drawing: 'M3 9l5-5 5 5M8 4v9', act: onUp },
    {
      key: 'remove',
      label: text('layout.remove', { what: name }),
      drawing: 'M3 3l10 10M13 3L3 13',
      act: onRemove,
    },
  ];
  return (
    <span className="line-buttons">
      {shown.map(
        ({ key, label, drawing, act }) =>
          act && (
            <button
              key={key}
              type="button"
              className="button button-quiet colour-remove"
              aria-label={label}
              onClick={act}
            >
              <svg viewBox="0 0 16 16" aria-hidden="true">
                <path d={drawing} />
              </svg>
            </button>
          ),
      )}
    </span>
  );
}
