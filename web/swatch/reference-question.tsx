import { useId } from 'react';
import type { MeasureOptions, Measurement } from '../../vision/measurement.ts';
import { text } from '../lib/text.ts';
import type { Correction } from './corrections.ts';
import { hasCorners, measuredBy, type ReferenceChoice, type ReferenceDoubt } from './reference-doubt.ts';
import { ReferenceOptions } from './reference-options.tsx';

export interface ReferenceQuestionProps {
  doubt: ReferenceDoubt;
  measurement: Measurement;
  options: MeasureOptions;
  onYes: () => void;
  onCorrect: (about: Correction['about']) => void;
  onMeasure: (options: MeasureOptions) => void;
}

/**
 * Asks whether the outlined thing is what the scale was taken from (or what there is, when nothing was found): a wrong
 * one makes every number wrong, and no number would show it.
 */
export function ReferenceQuestion({
  doubt,
  measurement,
  options,
  onYes,
  onCorrect,
  onMeasure,
}: ReferenceQuestionProps) {
  const id = useId();
  const kind = measurement.scale?.kind ?? 'manual';
  const question = doubt === 'unsure' ? text(`ask.${kind}`) : text('ask.missing');
  const cornered = hasCorners(measurement);
  return (
    <div className="reference-question" role="group" aria-labelledby={`${id}-question`}>
      <p role="status">
        <strong id={`${id}-question`}>{question}</strong>{' '}
        {text(doubt === 'unsure' ? 'ask.why' : 'ask.missingHow')}
      </p>
      <div className="reference-answers">
        {doubt === 'unsure' && (
          <button type="button" className="button button-main" onClick={onYes}>
            {text('ask.yes')}
          </button>
        )}
        <button
          type="button"
          className="button"
          onClick={() => onCorrect(cornered ? 'scale-rectangle' : 'scale-length')}
        >
          {text(doubt === 'missing' ? 'ask.mark' : cornered ? 'ask.corners' : 'ask.length')}
        </button>
        <label>
          <span className="only-read">{text('ask.other')}</span>
          <select
            value=""
            onChange={(event) => onMeasure(measuredBy(options, event.currentTarget.value as ReferenceChoice))}
          >
            <option value="">{text(doubt === 'unsure' ? 'ask.otherNo' : 'ask.otherThere')}</option>
            <ReferenceOptions />
          </select>
        </label>
      </div>
    </div>
  );
}
