import { useId } from 'react';
import { ColourOptions } from './colour-options.tsx';
import type { DraftColour } from './layout-draft.ts';

/** One of the plan's yarns, shown with its colour. */
export function ColourSelect({
  label,
  hideLabel = false,
  colours,
  value,
  onChange,
}: {
  label: string;
  hideLabel?: boolean;
  colours: readonly DraftColour[];
  value: string | undefined;
  onChange: (id: string) => void;
}) {
  const id = useId();
  const colour = colours.find((one) => one.id === value);
  return (
    <div className="field">
      <label htmlFor={id} className={hideLabel ? 'only-read' : undefined}>
        {label}
      </label>
      <div className="colour-select">
        <span className="colour-chip" style={{ background: colour?.hex ?? 'transparent' }} />
        <select id={id} value={value} onChange={(event) => onChange(event.currentTarget.value)}>
          <ColourOptions colours={colours} />
        </select>
      </div>
    </div>
  );
}
