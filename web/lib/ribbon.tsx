import { useId } from 'react';

/** A few choices side by side, one of them chosen: radio buttons underneath, so the arrow keys work. */
export function Ribbon<T extends string>({
  label,
  showLabel = false,
  options,
  value,
  onChange,
}: {
  label: string;
  showLabel?: boolean;
  options: { value: T; label: string }[];
  value: T;
  onChange: (value: T) => void;
}) {
  const name = useId();
  return (
    <fieldset className="ribbon-field">
      <legend className={showLabel ? undefined : 'only-read'}>{label}</legend>
      <div className="ribbon">
        {options.map((option) => (
          <label key={option.value}>
            <input
              type="radio"
              name={name}
              checked={option.value === value}
              onChange={() => onChange(option.value)}
            />
            {option.label}
          </label>
        ))}
      </div>
    </fieldset>
  );
}
