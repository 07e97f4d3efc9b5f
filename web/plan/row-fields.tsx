import { useId } from 'react';
import { formatHook } from '../../calc/index.ts';
import { LengthInput } from '../lib/length-input.tsx';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import type { PlanDraft } from './draft.ts';

/** What fewer makers need: the hook, the rows' own multiple, the last row's side, and a measured border. */
export function RowFields({ draft, onChange }: { draft: PlanDraft; onChange: (draft: PlanDraft) => void }) {
  const id = useId();
  const repeat = { m: 1, plus: 0, ...draft.rowRepeat };
  const border = draft.border ?? null;
  const measuredMm = border?.measured ? Number(border.measured.depthMm) : null;
  return (
    <div className="fold-inside">
      <div className="line-up line-up-three">
        <NumberInput
          label={text('rows.multiple')}
          value={repeat.m}
          min={1}
          max={400}
          whole
          onChange={(m) => m !== null && onChange({ ...draft, rowRepeat: { ...repeat, m } })}
        />
        <NumberInput
          label={text('rows.plus')}
          value={repeat.plus}
          min={0}
          max={400}
          whole
          onChange={(plus) => plus !== null && onChange({ ...draft, rowRepeat: { ...repeat, plus } })}
        />
        <div className="field">
          <label htmlFor={id}>{text('rows.last')}</label>
          <select
            id={id}
            value={draft.lastRow ?? 'any'}
            onChange={(event) =>
              onChange({ ...draft, lastRow: event.currentTarget.value as PlanDraft['lastRow'] })
            }
          >
            <option value="any">{text('rows.lastAny')}</option>
            <option value="right-side">{text('rows.lastRight')}</option>
            <option value="wrong-side">{text('rows.lastWrong')}</option>
          </select>
        </div>
      </div>
      <div className="line-up">
        <NumberInput
          label={text('hook.mm')}
          value={draft.hookMm ?? null}
          min={0.5}
          max={25}
          optional
          help={draft.hookMm ? formatHook(draft.hookMm) : undefined}
          onChange={(hookMm) => onChange({ ...draft, hookMm: hookMm ?? undefined })}
        />
        {border && (
          <LengthInput
            label={text('border.measured', { n: border.rounds })}
            valueMm={measuredMm}
            optional
            onChange={(depthMm) =>
              onChange({
                ...draft,
                border: {
                  ...border,
                  measured: depthMm === null ? undefined : { rounds: border.rounds, depthMm },
                },
              })
            }
          />
        )}
      </div>
    </div>
  );
}
