import { StitchQuestion } from '../swatch/stitch-question.tsx';
import type { Work } from './use-work.ts';

/** The question which stitch it is, while it is open. */
export function AskStitch({ work }: { work: Work }) {
  return work.isStitchAsked && work.measurement ? (
    <StitchQuestion looksLike={work.measurement.looksLike} onAnswer={work.onStitchAnswer} />
  ) : null;
}
