import { text } from '../lib/text.ts';
import { REFERENCE_CHOICES } from './reference-doubt.ts';

/** What the scale can be taken from, as options of a select. */
export function ReferenceOptions() {
  return REFERENCE_CHOICES.map((choice) => (
    <option key={choice} value={choice}>
      {text(`ask.take.${choice}`)}
    </option>
  ));
}
