import { useFormat } from '../lib/format.ts';
import { spreadOf } from '../lib/spread-of.ts';
import { text } from '../lib/text.ts';
import type { CheckFacts } from './check-facts.ts';

/** How many rows are left, and whether width and height will be what was promised. */
export function Verdict({ facts }: { facts: CheckFacts }) {
  const format = useFormat();
  const { projection } = facts;
  const line = (axis: 'width' | 'height') =>
    text(`verdict.${projection.verdict[axis]}`, {
      axis: text(axis === 'width' ? 'size.width' : 'size.height'),
      length: format.length(axis === 'width' ? projection.widthMm.value : projection.heightMm.value),
      off: format.length(Math.abs(projection.differenceMm[axis].value)),
      spread: format.length(spreadOf(projection.differenceMm[axis])),
    });
  return (
    <div className="plan-part" data-testid="verdict" aria-live="polite">
      <p>{text('check.rowsLeft', { n: projection.rowsLeft })}</p>
      <p>
        <strong>{line('width')}</strong>
      </p>
      <p>
        <strong>{line('height')}</strong>
      </p>
    </div>
  );
}
