import { useId } from 'react';
import { stitchKeyOf, type StitchKey } from '../../calc/index.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import { ColourSelect } from './colour-select.tsx';
import type { PlanDraft } from './draft.ts';
import { StitchSelect } from './stitch-fields.tsx';

const BORDER_STITCHES: readonly StitchKey[] = ['sc', 'hdc', 'dc', 'post-rib', 'moss'];
const MOST_ROUNDS = 20;

/** Rounds worked around the piece, their stitch and colour. */
export function BorderFields({
  draft,
  onChange,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
}) {
  const id = useId();
  const border = draft.border ?? null;
  const colours = draft.colours ?? [];
  const stitch = border && stitchKeyOf(border.stitch);
  const colour = border?.colour;
  return (
    <fieldset className="plan-group">
      <legend>{text('border.heading')}</legend>
      <div className="line-up line-up-three">
        <NumberInput
          label={text('border.rounds')}
          value={border?.rounds ?? 0}
          min={0}
          max={MOST_ROUNDS}
          whole
          onChange={(rounds) => {
            if (rounds === null) return;
            if (rounds === 0) onChange({ ...draft, border: null });
            else
              onChange({
                ...draft,
                border: {
                  ...(border ?? { stitch: 'post-rib', colour: colours[0]?.id }),
                  rounds,
                },
              });
          }}
        />
        {border && (
          <div className="field">
            <label htmlFor={`${id}-stitch`}>{text('border.stitch')}</label>
            <StitchSelect
              id={`${id}-stitch`}
              only={BORDER_STITCHES}
              value={stitch ?? 'post-rib'}
              onChange={(key) => key && onChange({ ...draft, border: { ...border, stitch: key } })}
            />
          </div>
        )}
        {border && colours.length > 1 && (
          <ColourSelect
            label={text('border.colour')}
            colours={colours}
            value={(Array.isArray(colour) ? colour[0] : colour) ?? colours[0]?.id}
            onChange={(chosen) => onChange({ ...draft, border: { ...border, colour: chosen } })}
          />
        )}
      </div>
    </fieldset>
  );
}
