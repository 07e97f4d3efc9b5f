import { useId } from 'react';
import type { StitchKey } from '../../calc/index.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { text } from '../lib/text.ts';
import { StitchSelect, useStitchName } from '../plan/stitch-fields.tsx';

/** What is less likely than this is not proposed, and two stitches at most are: of more she would rather be shown all. */
const WORTH_PROPOSING = 0.25;
const MOST_PROPOSED = 2;

export interface StitchQuestionProps {
  looksLike: Measurement['looksLike'];
  /** null: none of the stitches that are listed. */
  onAnswer: (stitch: StitchKey | null) => void;
}

/** Asks the maker which stitch her swatch is worked in: she knows it for sure, and the photo can only guess. */
export function StitchQuestion({ looksLike, onAnswer }: StitchQuestionProps) {
  const id = useId();
  const nameOf = useStitchName();
  const proposed = looksLike
    .slice(0, MOST_PROPOSED)
    .filter(({ weight }) => weight >= WORTH_PROPOSING)
    .map(({ stitch }) => ({ stitch, name: nameOf(stitch) }));
  const [a, b] = proposed;
  const looks =
    a &&
    (b
      ? text('askStitch.looksEither', { a: a.name, b: b.name })
      : text('askStitch.looks', { stitch: a.name }));
  return (
    <div className="reference-question" role="group" aria-labelledby={`${id}-question`}>
      <p role="status">
        <strong id={`${id}-question`}>{text('askStitch.which')}</strong> {looks} {text('askStitch.why')}
      </p>
      <div className="reference-answers">
        {proposed.map(({ stitch, name }) => (
          <button
            key={stitch}
            type="button"
            className={b ? 'button' : 'button button-main'}
            onClick={() => onAnswer(stitch)}
          >
            {text(b ? 'askStitch.either' : 'askStitch.yes', { stitch: name })}
          </button>
        ))}
        <label htmlFor={`${id}-other`} className="only-read">
          {text('askStitch.other')}
        </label>
        <StitchSelect
          id={`${id}-other`}
          value=""
          firstOption={text(a ? 'askStitch.no' : 'askStitch.choose')}
          onChange={(stitch) => stitch && onAnswer(stitch)}
        />
        <button type="button" className="button button-quiet" onClick={() => onAnswer(null)}>
          {text('askStitch.none')}
        </button>
      </div>
    </div>
  );
}
