import { useId } from 'react';
import type { Plan, PlanSpec } from '../../calc/index.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { countInWords } from '../lib/count-in-words.ts';
import { LengthInput } from '../lib/length-input.tsx';
import { NumberInput } from '../lib/number-input.tsx';
import { text } from '../lib/text.ts';
import type { CheckFacts, CheckInput } from './check-facts.ts';

export interface RowsInView {
  fromRow: number | null;
  toRow: number | null;
}

export interface ToldFieldsProps {
  plan: Plan;
  colours: NonNullable<PlanSpec['colours']>;
  told: CheckInput;
  onChange: (part: Partial<CheckInput>) => void;
  /** Of the photo on the screen, once there is one. */
  measurement: Measurement | null;
  /** Rows that the height so far comes to. */
  rowsByHeight: CheckFacts['rowsDone']['fromHeight'] | null;
  shownRows: RowsInView;
  onRows: (rows: RowsInView) => void;
}

/** What the maker tells about where she is: rows, height, border, and the yarn that is left. */
export function ToldFields({
  plan,
  colours,
  told,
  onChange: change,
  measurement,
  rowsByHeight,
  shownRows,
  onRows,
}: ToldFieldsProps) {
  const id = useId();
  return (
    <section className="sheet check-told" aria-labelledby={id}>
      <h2 id={id}>{text('check.told')}</h2>
      <div className="line-up">
        <NumberInput
          label={text('check.rowsDone', { n: plan.rows })}
          value={told.rowsDone}
          min={0}
          max={plan.rows}
          whole
          optional
          onChange={(rowsDone) => change({ rowsDone })}
          help={
            measurement?.counted.rows
              ? countInWords(measurement.counted.rows, 'check.rowsCounted', 'check.rowsEither')
              : rowsByHeight
                ? text('check.rowsFromHeight', { n: Math.round(rowsByHeight.value) })
                : undefined
          }
        />
        <LengthInput
          label={text('check.height')}
          valueMm={told.heightMm}
          optional
          onChange={(heightMm) => change({ heightMm })}
        />
        {plan.border && (
          <NumberInput
            label={text('check.border')}
            value={told.borderRoundsDone}
            min={0}
            max={plan.border.rounds.length}
            whole
            onChange={(rounds) => change({ borderRoundsDone: rounds ?? 0 })}
          />
        )}
      </div>
      {measurement && (
        <div className="line-up">
          <NumberInput
            label={text('check.fromRow')}
            value={shownRows.fromRow}
            min={1}
            max={plan.rows}
            whole
            optional
            onChange={(fromRow) => onRows({ ...shownRows, fromRow })}
          />
          <NumberInput
            label={text('check.toRow')}
            value={shownRows.toRow}
            min={1}
            max={plan.rows}
            whole
            optional
            onChange={(toRow) => onRows({ ...shownRows, toRow })}
          />
        </div>
      )}
      <fieldset className="plan-group">
        <legend>{text('check.yarn')}</legend>
        <p className="field-help">{text('check.yarnHow')}</p>
        {colours.map((colour) => (
          <div key={colour.id} className="line-up">
            <NumberInput
              label={text('check.before', { name: colour.name ?? colour.id })}
              value={told.gramsBefore[colour.id] ?? null}
              max={100_000}
              optional
              onChange={(grams) => change({ gramsBefore: { ...told.gramsBefore, [colour.id]: grams } })}
            />
            <NumberInput
              label={text('check.left', { name: colour.name ?? colour.id })}
              value={told.gramsLeft[colour.id] ?? null}
              max={100_000}
              optional
              onChange={(grams) => change({ gramsLeft: { ...told.gramsLeft, [colour.id]: grams } })}
            />
          </div>
        ))}
      </fieldset>
    </section>
  );
}
