import { useState } from 'react';
import { LengthInput } from '../lib/length-input.tsx';
import { useFormat } from '../lib/format.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import { ColourSelect } from './colour-select.tsx';
import type { PlanDraft } from './draft.ts';

/**
 * Counted stitches of the swatch unravelled, and the yarn out of them measured: what a stitch takes without scales.
 * Until both numbers are there, nothing is reckoned from them.
 */
export function UnravelFields({
  draft,
  onChange,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
}) {
  const format = useFormat();
  const kept = draft.yarn?.unravelled;
  const [stitches, setStitches] = useState(kept?.stitches ?? null);
  const [lengthMm, setLengthMm] = useState(typeof kept?.metres === 'number' ? kept.metres * 1000 : null);
  const colours = draft.colours ?? [];
  const [colour, setColour] = useState(kept?.colour ?? colours[0]?.id);
  const used = colours.find((one) => one.id === colour) ?? colours[0];

  const settle = (now: { stitches: number | null; lengthMm: number | null; colour: string | undefined }) => {
    const { unravelled: _before, ...others } = draft.yarn ?? {};
    onChange({
      ...draft,
      yarn:
        now.stitches !== null && now.lengthMm !== null
          ? {
              ...others,
              unravelled: {
                ...kept,
                stitches: now.stitches,
                metres: now.lengthMm / 1000,
                colour: now.colour,
              },
            }
          : others,
    });
  };

  return (
    <fieldset className="plan-group">
      <legend>{text('unravel.heading')}</legend>
      <p className="field-help">{text('unravel.why')}</p>
      <div className="line-up line-up-three">
        <NumberInput
          label={text('unravel.stitches')}
          value={stitches}
          min={1}
          max={10_000}
          whole
          optional
          onChange={(value) => {
            setStitches(value);
            settle({ stitches: value, lengthMm, colour: used?.id });
          }}
        />
        <LengthInput
          label={text('unravel.length')}
          valueMm={lengthMm}
          optional
          showBoth={false}
          onChange={(mm) => {
            setLengthMm(mm);
            settle({ stitches, lengthMm: mm, colour: used?.id });
          }}
        />
        {colours.length > 1 && (
          <ColourSelect
            label={text('unravel.colour')}
            colours={colours}
            value={used?.id}
            onChange={(chosen) => {
              setColour(chosen);
              settle({ stitches, lengthMm, colour: chosen });
            }}
          />
        )}
      </div>
      {stitches !== null && lengthMm !== null && (
        <p role="status" data-testid="per-stitch">
          {text('unravel.perStitch', { length: format.length(lengthMm / stitches, 2) })}{' '}
          {(!used?.skeinGrams || !used.skeinMetres) && text('unravel.needsLabel', { name: used?.name ?? '' })}
        </p>
      )}
    </fieldset>
  );
}
