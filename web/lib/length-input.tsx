import { useEffect, useId, useState } from 'react';
import { CalcError, parseLength } from '../../calc/index.ts';
import { formatNumber, makeFormat, useFormat } from './format.ts';
import { text } from './text.ts';

export interface LengthInputProps {
  label: string;
  valueMm: number | null;
  onChange: (mm: number | null) => void;
  /** Decimals when the page writes the value itself. */
  decimals?: number;
  /** Whether an empty field is fine. */
  optional?: boolean;
  showBoth?: boolean;
}

const inCm = makeFormat('cm');
const inIn = makeFormat('in');

/** A length typed as people type it (35", 89 cm, 2 ft 11, 38½); what was understood is written below in both units. */
export function LengthInput({
  label,
  valueMm,
  onChange,
  decimals = 1,
  optional = false,
  showBoth = true,
}: LengthInputProps) {
  const format = useFormat();
  const id = useId();
  const own = (mm: number | null) =>
    mm === null
      ? ''
      : `${formatNumber(mm / format.mmPerUnit, decimals).replace(/[.,]0+$/, '')} ${format.lengthUnit}`;
  const [typed, setTyped] = useState(() => own(valueMm));
  const [sent, setSent] = useState(valueMm);
  const [wrong, setWrong] = useState<string | null>(null);

  // Another unit, or a value from elsewhere: the field is written anew. What she is typing is left alone.
  useEffect(() => {
    setTyped(own(valueMm));
    setWrong(null);
  }, [format.lengths]);
  if (valueMm !== sent) {
    setSent(valueMm);
    setTyped(own(valueMm));
    setWrong(null);
  }

  const read = (value: string) => {
    setTyped(value);
    if (value.trim() === '') {
      setSent(null);
      setWrong(optional ? null : text('length.empty'));
      if (optional) onChange(null);
      return;
    }
    try {
      const mm = parseLength(value, { unit: format.lengths });
      setWrong(null);
      setSent(mm);
      onChange(mm);
    } catch (error) {
      if (!(error instanceof CalcError)) throw error;
      setWrong(text('length.notUnderstood'));
    }
  };

  return (
    <div className="field">
      <label htmlFor={id}>{label}</label>
      <input
        id={id}
        type="text"
        inputMode="text"
        autoComplete="off"
        value={typed}
        aria-invalid={wrong !== null}
        aria-describedby={`${id}-note`}
        onChange={(event) => read(event.currentTarget.value)}
      />
      <p
        id={`${id}-note`}
        className={wrong ? 'field-wrong' : 'field-help'}
        role={wrong ? 'alert' : undefined}
      >
        {wrong ?? (showBoth && valueMm !== null ? `${inCm.length(valueMm)} = ${inIn.length(valueMm)}` : '')}
      </p>
    </div>
  );
}
