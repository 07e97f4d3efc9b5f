import { useId } from 'react';
import { LengthInput } from '../lib/length-input.tsx';
import { text } from '../lib/text.ts';
import type { PlanDraft } from './draft.ts';

export interface NamedSize {
  key: string;
  name: string;
  widthMm: number;
  heightMm: number;
  forInfant: boolean;
}

/** How big the finished piece is to be, border and all. */
export function SizeFields({
  draft,
  onChange,
  sizes,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
  sizes: NamedSize[];
}) {
  const id = useId();
  const { target } = draft;
  const widthMm = Number(target.widthMm);
  const heightMm = Number(target.heightMm);
  const named = sizes.find((size) => size.widthMm === widthMm && size.heightMm === heightMm);
  const change = (part: Partial<PlanDraft['target']>) =>
    onChange({ ...draft, target: { ...target, ...part } });

  return (
    <fieldset className="plan-group">
      <legend className="only-read">{text('size.heading')}</legend>
      <div className="line-up size-line">
        <LengthInput
          label={text('size.width')}
          valueMm={widthMm}
          onChange={(mm) => mm !== null && change({ widthMm: mm, forInfant: undefined })}
        />
        <LengthInput
          label={text('size.height')}
          valueMm={heightMm}
          onChange={(mm) => mm !== null && change({ heightMm: mm, forInfant: undefined })}
        />
        {sizes.length > 0 && (
          <div className="field size-named">
            <label htmlFor={id}>{text('size.named')}</label>
            <select
              id={id}
              value={named?.key ?? ''}
              onChange={(event) => {
                const size = sizes.find((one) => one.key === event.currentTarget.value);
                if (size)
                  change({
                    widthMm: size.widthMm,
                    heightMm: size.heightMm,
                    forInfant: size.forInfant || undefined,
                  });
              }}
            >
              <option value="">{text('size.own')}</option>
              {sizes.map((size) => (
                <option key={size.key} value={size.key}>
                  {size.name}
                </option>
              ))}
            </select>
          </div>
        )}
      </div>
    </fieldset>
  );
}
