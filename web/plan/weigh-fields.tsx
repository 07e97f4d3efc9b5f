import { useState } from 'react';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import type { PlanDraft } from './draft.ts';

/** Whole stitches and rows of the swatch, when both of its edges were seen. */
export interface CountedSwatch {
  stitches: number | null;
  rows: number | null;
}

/**
 * A swatch of counted stitches and rows on the kitchen scales. Until all three numbers are there, the yarn is
 * reckoned from the label. The counts start from the photo's.
 */
export function WeighFields({
  draft,
  onChange,
  counted,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
  counted: CountedSwatch;
}) {
  const kept = draft.yarn?.swatchWeight;
  const [grams, setGrams] = useState(typeof kept?.grams === 'number' ? kept.grams : null);
  const [stitches, setStitches] = useState(kept?.stitches ?? null);
  const [rows, setRows] = useState(kept?.rows ?? null);
  const shown = { grams, stitches: stitches ?? counted.stitches, rows: rows ?? counted.rows };

  const settle = (now: typeof shown) => {
    const { swatchWeight: _before, ...others } = draft.yarn ?? {};
    const whole = now.grams !== null && now.stitches !== null && now.rows !== null;
    onChange({
      ...draft,
      yarn: whole
        ? {
            ...others,
            swatchWeight: { ...kept, grams: now.grams!, stitches: now.stitches!, rows: now.rows! },
          }
        : others,
    });
  };

  return (
    <fieldset className="plan-group">
      <legend>{text('weigh.heading')}</legend>
      <p className="field-help">{text('weigh.why')}</p>
      <div className="line-up line-up-three">
        <NumberInput
          label={text('weigh.grams')}
          value={shown.grams}
          min={0.1}
          max={5000}
          optional
          onChange={(value) => {
            setGrams(value);
            settle({ ...shown, grams: value });
          }}
        />
        <NumberInput
          label={text('weigh.stitches')}
          value={shown.stitches}
          min={1}
          max={1000}
          whole
          optional
          onChange={(value) => {
            setStitches(value);
            settle({ ...shown, stitches: value });
          }}
        />
        <NumberInput
          label={text('weigh.rows')}
          value={shown.rows}
          min={1}
          max={1000}
          whole
          optional
          onChange={(value) => {
            setRows(value);
            settle({ ...shown, rows: value });
          }}
        />
      </div>
    </fieldset>
  );
}
