import { useId } from 'react';
import { isStitchKey, stitchKeyOf, STITCHES, type Parity, type StitchKey } from '../../calc/index.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { usePreferences } from '../lib/preferences.tsx';
import { text } from '../lib/text.ts';
import type { PlanDraft } from './draft.ts';

/** A stitch's name in the maker's terms. */
export function useStitchName(): (key: string) => string {
  const { terms } = usePreferences().preferences;
  return (key) => (isStitchKey(key) ? STITCHES[key].names[terms] : key);
}

/** The listed stitches, crochet and knit apart, under the maker's names. */
export function StitchSelect({
  id,
  value,
  onChange,
  only,
  firstOption,
}: {
  id: string;
  value: string;
  onChange: (key: StitchKey | null) => void;
  only?: readonly StitchKey[];
  firstOption?: string;
}) {
  const nameOf = useStitchName();
  const listed = Object.values(STITCHES).filter((stitch) => !only || only.some((key) => key === stitch.key));
  return (
    <select
      id={id}
      value={value}
      onChange={(event) =>
        onChange(isStitchKey(event.currentTarget.value) ? event.currentTarget.value : null)
      }
    >
      {firstOption && <option value="">{firstOption}</option>}
      {(['crochet', 'knit'] as const).map((craft) => {
        const stitches = listed.filter((stitch) => stitch.craft === craft);
        return (
          stitches.length > 0 && (
            <optgroup key={craft} label={text(`craft.${craft}`)}>
              {stitches.map((stitch) => (
                <option key={stitch.key} value={stitch.key}>
                  {nameOf(stitch.key)}
                </option>
              ))}
            </optgroup>
          )
        );
      })}
    </select>
  );
}

/** The stitch, and "multiple of m, plus c". */
export function StitchFields({
  draft,
  onChange,
}: {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
}) {
  const id = useId();
  const key = stitchKeyOf(draft.stitch);
  const own = STITCHES[key].multiple;
  const multiple = { ...own, ...draft.multiple };
  const change = (part: Partial<typeof multiple>) =>
    onChange({ ...draft, multiple: { ...multiple, ...part } });
  return (
    <fieldset className="plan-group">
      <legend>{text('stitch.heading')}</legend>
      <div className="field">
        <label htmlFor={`${id}-stitch`}>{text('stitch.which')}</label>
        <StitchSelect
          id={`${id}-stitch`}
          value={key}
          onChange={(stitch) => stitch && onChange({ ...draft, stitch, multiple: undefined })}
        />
      </div>
      <div className="line-up line-up-three">
        <NumberInput
          label={text('stitch.multiple')}
          value={multiple.m}
          min={1}
          max={400}
          whole
          onChange={(m) => m !== null && change({ m })}
        />
        <NumberInput
          label={text('stitch.plus')}
          value={multiple.plus}
          min={0}
          max={400}
          whole
          onChange={(plus) => plus !== null && change({ plus })}
        />
        <div className="field">
          <label htmlFor={`${id}-parity`}>{text('stitch.repeats')}</label>
          <select
            id={`${id}-parity`}
            value={multiple.parity}
            onChange={(event) => change({ parity: event.currentTarget.value as Parity })}
          >
            <option value="any">{text('stitch.any')}</option>
            <option value="odd">{text('stitch.odd')}</option>
            <option value="even">{text('stitch.even')}</option>
          </select>
        </div>
      </div>
    </fieldset>
  );
}
