import { text } from '../lib/text.ts';
import { BorderFields } from './border-fields.tsx';
import { ColourFields } from './colour-fields.tsx';
import type { PlanDraft } from './draft.ts';
import { LayoutFields } from './layout-fields.tsx';
import { PiecePicture } from './piece-picture.tsx';
import { RowFields } from './row-fields.tsx';
import { StitchFields } from './stitch-fields.tsx';
import type { Planned } from './use-plan.ts';
import { WeighFields, type CountedSwatch } from './weigh-fields.tsx';

export interface PlanFormProps {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
  counted: CountedSwatch;
  planned: Planned;
}

/** What the maker chooses besides the size; whatever follows is worked out as she types. */
export function PlanForm({ draft, onChange, counted, planned }: PlanFormProps) {
  return (
    <form className="plan-part" onSubmit={(event) => event.preventDefault()}>
      <StitchFields draft={draft} onChange={onChange} />
      <BorderFields draft={draft} onChange={onChange} />
      <details className="fold">
        <summary>{text('rows.heading')}</summary>
        <RowFields draft={draft} onChange={onChange} />
      </details>
      <ColourFields draft={draft} onChange={onChange} />
      <LayoutFields draft={draft} onChange={onChange}>
        {planned.plan && <PiecePicture plan={planned.plan} ready={planned.ready} />}
      </LayoutFields>
      <WeighFields draft={draft} onChange={onChange} counted={counted} />
    </form>
  );
}
