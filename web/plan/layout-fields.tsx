import type { ReactNode } from 'react';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';
import { BlockFields } from './block-fields.tsx';
import { ColourSelect } from './colour-select.tsx';
import type { PlanDraft } from './draft.ts';
import { asLayout, type DraftLayout } from './layout-draft.ts';
import { StripeFields } from './stripe-fields.tsx';

export interface LayoutFieldsProps {
  draft: PlanDraft;
  onChange: (draft: PlanDraft) => void;
  children?: ReactNode;
}

/** Where the colours go: one colour, stripes, or blocks; the children picture it beside the fields. */
export function LayoutFields({ draft, onChange, children }: LayoutFieldsProps) {
  const layout: DraftLayout = draft.layout ?? { kind: 'solid' };
  const change = (changed: DraftLayout) => onChange({ ...draft, layout: changed });
  const kind = layout.kind === 'stripes' || layout.kind === 'blocks' ? layout.kind : 'solid';
  return (
    <fieldset className="plan-group">
      <legend>{text('layout.heading')}</legend>
      <Ribbon
        label={text('layout.kind')}
        value={kind}
        onChange={(chosen) => change(asLayout(chosen, draft))}
        options={[
          { value: 'solid', label: text('layout.solid') },
          { value: 'stripes', label: text('layout.stripes') },
          { value: 'blocks', label: text('layout.blocks') },
        ]}
      />
      {children && <div className="layout-picture no-print">{children}</div>}
      {layout.kind === 'solid' && (draft.colours?.length ?? 0) > 1 && (
        <ColourSelect
          label={text('layout.colour')}
          colours={draft.colours ?? []}
          value={layout.colour ?? draft.colours?.[0]?.id ?? ''}
          onChange={(colour) => change({ ...layout, colour })}
        />
      )}
      {layout.kind === 'stripes' && <StripeFields draft={draft} layout={layout} onChange={change} />}
      {layout.kind === 'blocks' && <BlockFields draft={draft} layout={layout} onChange={change} />}
    </fieldset>
  );
}
