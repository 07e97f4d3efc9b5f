import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import { ColourSelect } from './colour-select.tsx';
import { movedUp, type LayoutPartProps } from './layout-draft.ts';
import { LineButtons } from './line-buttons.tsx';

/** Bands of blocks from the bottom up: their rows, and the colours across. */
export function BlockFields({ draft, layout, onChange }: LayoutPartProps<'blocks'>) {
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
