import { useId } from 'react';
import type { MeasureOptions, Measurement } from '../../vision/measurement.ts';
import { LengthInput } from '../lib/length-input.tsx';
import { NumberInput } from '../lib/number-input.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';
import {
  countSpan,
  hasCorrections,
  startCorrection,
  withCorrection,
  withoutCorrections,
  type Correction,
  type KnownRectangle,
} from './corrections.ts';

import { chosenReference, measuredBy, type ReferenceChoice } from './reference-doubt.ts';
import { ReferenceOptions } from './reference-options.tsx';

export interface CorrectPanelProps {
  measurement: Measurement;
  options: MeasureOptions;
  correction: Correction;
  onChange: (correction: Correction) => void;
  onMeasure: (options: MeasureOptions) => void;
}

/** Putting a reading right: mark the scale, mark the fabric, or count between two marks. */
export function CorrectPanel({ measurement, options, correction, onChange, onMeasure }: CorrectPanelProps) {
  const headingId = useId();
  const next = withCorrection(options, correction);
  const start = (about: Correction['about']) => onChange(startCorrection(about, measurement));

  return (
    <div className="fold-inside" role="group" aria-labelledby={headingId}>
      <h3 id={headingId} className="only-read">
        {text('correct.heading')}
      </h3>
      {correction.about === 'nothing' ? (
        <div className="line-up">
          <button type="button" className="button" onClick={() => start('scale-rectangle')}>
            {text('correct.reference')}
          </button>
          <button type="button" className="button" onClick={() => start('area')}>
            {text('correct.area')}
          </button>
          <button type="button" className="button" onClick={() => start('count')}>
            {text('correct.count')}
          </button>
          <div className="field">
            <label htmlFor={`${headingId}-taken`}>{text('correct.takenFrom')}</label>
            <select
              id={`${headingId}-taken`}
              value={chosenReference(options) ?? ''}
              onChange={(event) =>
                onMeasure(measuredBy(options, (event.currentTarget.value as ReferenceChoice) || null))
              }
            >
              <option value="">{text(options.manual ? 'scale.manual' : 'correct.takenAuto')}</option>
              <ReferenceOptions />
            </select>
          </div>
        </div>
      ) : (
        <form
          className="fold-inside"
          onSubmit={(event) => {
            event.preventDefault();
            if (!next) return;
            onChange({ about: 'nothing' });
            onMeasure(next);
          }}
        >
          <CorrectionFields correction={correction} measurement={measurement} onChange={onChange} />
          <div className="line-up">
            <button type="submit" className="button button-main" disabled={next === null}>
              {text('correct.apply')}
            </button>
            <button
              type="button"
              className="button button-quiet"
              onClick={() => onChange({ about: 'nothing' })}
            >
              {text('correct.leave')}
            </button>
          </div>
        </form>
      )}
      {hasCorrections(options) && (
        <p>
          {text('correct.inForce')}{' '}
          <button
            type="button"
            className="button button-quiet"
            onClick={() => {
              onChange({ about: 'nothing' });
              onMeasure(withoutCorrections(options));
            }}
          >
            {text('correct.clear')}
          </button>
        </p>
      )}
    </div>
  );
}

function CorrectionFields({
  correction,
  measurement,
  onChange,
}: {
  correction: Correction;
  measurement: Measurement;
  onChange: (correction: Correction) => void;
}) {
  const whatId = useId();
  switch (correction.about) {
    case 'nothing':
      return null;
    case 'scale-rectangle':
    case 'scale-length': {
      const what = correction.about === 'scale-length' ? 'two' : correction.what;
      return (
        <>
          <p>{text('correct.referenceHow')}</p>
          <div className="field">
            <label htmlFor={whatId}>{text('correct.referenceWhat')}</label>
            <select
              id={whatId}
              value={what}
              onChange={(event) => {
                const chosen = event.currentTarget.value;
                if (chosen === 'two') onChange(startCorrection('scale-length', measurement));
                else if (correction.about === 'scale-rectangle')
                  onChange({ ...correction, what: chosen as KnownRectangle });
                else {
                  const fresh = startCorrection('scale-rectangle', measurement);
                  if (fresh.about === 'scale-rectangle')
                    onChange({ ...fresh, what: chosen as KnownRectangle });
                }
              }}
            >
              <option value="card">{text('correct.referenceCard')}</option>
              <option value="a4">{text('correct.referenceA4')}</option>
              <option value="a5">{text('correct.referenceA5')}</option>
              <option value="letter">{text('correct.referenceLetter')}</option>
              <option value="two">{text('correct.referenceTwo')}</option>
            </select>
          </div>
          {correction.about === 'scale-length' && (
            <LengthInput
              label={text('correct.referenceLength')}
              valueMm={correction.lengthMm}
              onChange={(lengthMm) => onChange({ ...correction, lengthMm })}
            />
          )}
        </>
      );
    }
    case 'area':
      return <p>{text('correct.areaHow')}</p>;
    case 'count': {
      const change = (axis: 'stitches' | 'rows', count: number) =>
        onChange({
          ...correction,
          axis,
          count,
          // Another axis moves the marks along it; another number is what she counted between them as they are.
          pointsPx:
            axis === correction.axis
              ? correction.pointsPx
              : (countSpan(axis, count, measurement) ?? correction.pointsPx),
        });
      return (
        <>
          <p>{text('correct.countHow')}</p>
          <div className="line-up">
            <NumberInput
              label={text('correct.countNumber')}
              value={correction.count}
              min={1}
              max={500}
              whole
              onChange={(count) => count !== null && change(correction.axis, count)}
            />
            <Ribbon
              label={text('correct.count')}
              value={correction.axis}
              onChange={(axis) => change(axis, correction.count)}
              options={[
                { value: 'stitches', label: text('correct.countStitches') },
                { value: 'rows', label: text('correct.countRows') },
              ]}
            />
          </div>
        </>
      );
    }
  }
}
