import { useId, type ReactNode } from 'react';
import type { Work } from '../parts/use-work.ts';
import { Fold } from '../lib/fold.tsx';
import { text } from '../lib/text.ts';
import { AdviceList } from '../swatch/gauge-card.tsx';
import { MakeDo } from './make-do.tsx';
import { GaugeLine, Instructions, Neighbours, PlanPicture } from './plan-result.tsx';
import { SizeTable } from './size-table.tsx';

/** What follows from the choices: the piece to scale, the counts next to it, and the sentences. */
export function PlanSheet({ work, children }: { work: Work; children?: ReactNode }) {
  const id = useId();
  const { spec } = work;
  const { plan, ready } = work.planned;
  if (!plan) return null;
  return (
    <section className="sheet" aria-labelledby={id}>
      <h2 id={id}>{text('result.heading')}</h2>
      <GaugeLine plan={plan} />
      <PlanPicture plan={plan} ready={ready} />
      <AdviceList advice={plan.advice.filter(({ code }) => code !== 'no-yarn-evidence')} />
      <Neighbours
        plan={plan}
        rounding={work.draft.target.rounding ?? 'nearest'}
        onRounding={(rounding) => work.change({ ...work.draft, target: { ...work.draft.target, rounding } })}
        onPick={work.setFixed}
      />
      {children}
      <Instructions plan={plan} />
      {spec && (
        <Fold summary={text('makeDo.heading')}>
          {() => (
            <MakeDo
              spec={spec}
              onTake={(found) =>
                work.setDraft({
                  ...work.draft,
                  fixed: { chain: found.chain, rows: found.rows },
                  border: work.draft.border && {
                    ...work.draft.border,
                    rounds: found.borderRounds,
                    colour: found.borderColours,
                  },
                })
              }
            />
          )}
        </Fold>
      )}
      {spec && <Fold summary={text('sizes.heading')}>{() => <SizeTable spec={spec} />}</Fold>}
    </section>
  );
}
