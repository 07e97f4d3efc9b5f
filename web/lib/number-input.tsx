import { useId, useState } from 'react';
import { formatNumber } from './format.ts';
import { text } from './text.ts';

export interface NumberInputProps {
  label: string;
  value: number | null;
  onChange: (value: number | null) => void;
  min?: number;
  max?: number;
  /** Whole numbers only. */
  whole?: boolean;
  optional?: boolean;
  help?: string;
}

/** A number as typed, a decimal comma or point alike; outside its range it says so and changes nothing. */
export function NumberInput({
  label,
  value,
  onChange,
  min = 0,
  max = 1e6,
  whole = false,
  optional = false,
  help,
}: NumberInputProps) {
  const id = useId();
  const written = (number: number | null) => (number === null ? '' : String(number));
  const [typed, setTyped] = useState(written(value));
  const [sent, setSent] = useState(value);
  const [wrong, setWrong] = useState<string | null>(null);
  if (value !== sent) {
    setSent(value);
    setTyped(written(value));
    setWrong(null);
  }
  const read = (raw: string) => {
    setTyped(raw);
    if (raw.trim() === '') {
      setWrong(optional ? null : text('number.empty'));
      if (optional) {
        setSent(null);
        onChange(null);
      }
      return;
    }
    const number = Number(raw.trim().replace(',', '.'));
    if (!Number.isFinite(number) || number < min || number > max || (whole && !Number.isInteger(number))) {
      setWrong(
        text(whole ? 'number.wholeRange' : 'number.range', {
          min: formatNumber(min),
          max: formatNumber(max),
        }),
      );
      return;
    }
    setWrong(null);
    setSent(number);
    onChange(number);
  };
  return (
    <div className="field">
      <label htmlFor={id}>{label}</label>
      <input
        id={id}
        type="text"
        inputMode={whole ? 'numeric' : 'decimal'}
        autoComplete="off"
        value={typed}
        aria-invalid={wrong !== null}
        aria-describedby={wrong || help ? `${id}-note` : undefined}
        onChange={(event) => read(event.currentTarget.value)}
      />
      {(wrong || help) && (
        <p
          id={`${id}-note`}
          className={wrong ? 'field-wrong' : 'field-help'}
          role={wrong ? 'alert' : undefined}
        >
          {wrong ?? help}
        </p>
      )}
    </div>
  );
}
