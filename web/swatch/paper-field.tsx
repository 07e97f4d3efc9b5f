import { useId } from 'react';
import type { PaperSize } from '../../vision/types.ts';
import { text } from '../lib/text.ts';

const SIZES: { size: PaperSize; name: 'paper.a4' | 'paper.a5' | 'paper.letter' }[] = [
  { size: 'a4', name: 'paper.a4' },
  { size: 'a5', name: 'paper.a5' },
  { size: 'letter', name: 'paper.letter' },
];

export interface PaperFieldProps {
  value: PaperSize | '';
  onChange: (size: PaperSize | null) => void;
}

/** Asks which sheet of paper lies in the photo: sizes of one shape look alike. */
export function PaperField({ value, onChange }: PaperFieldProps) {
  const id = useId();
  return (
    <div className="field">
      <label htmlFor={id}>{text('paper.which')}</label>
      <select
        id={id}
        value={value}
        onChange={(event) =>
          onChange(SIZES.find(({ size }) => size === event.currentTarget.value)?.size ?? null)
        }
      >
        <option value="">{text('paper.unsaid')}</option>
        {SIZES.map(({ size, name }) => (
          <option key={size} value={size}>
            {text(name)}
          </option>
        ))}
      </select>
    </div>
  );
}
