import { useId } from 'react';
import type { Work } from '../parts/use-work.ts';
import { text } from '../lib/text.ts';
import { Cautions, PlanFigures } from './plan-result.tsx';
import { SizeFields } from './size-fields.tsx';
import { NAMED_SIZES } from './named-sizes.ts';

/** The size typed and, beneath it at once, what it comes to. */
export function AnswerSheet({ work }: { work: Work }) {
  const id = useId();
  const { planned, spec } = work;
  return (
    <section className="sheet" aria-labelledby={id}>
      <h2 id={id}>{text('size.heading')}</h2>
      <SizeFields draft={work.draft} onChange={work.change} sizes={NAMED_SIZES} />
      <div aria-live="polite" className="plan-part answer">
        {planned.plan ? (
          <>
            <Cautions plan={planned.plan} />
            <PlanFigures plan={planned.plan} />
          </>
        ) : (
          <p className={spec ? 'wrong' : 'placeholder-figures'}>{planned.wrong}</p>
        )}
      </div>
    </section>
  );
}
