import { planSpecSchema, SAMPLE_PLAN, type PlanSpec } from '../../calc/index.ts';
import type { Preferences } from '../lib/preferences.tsx';
import type { PieceGauge } from '../swatch/gauge-card.tsx';

/** Everything the maker chooses for a piece; its gauge comes from the swatch. */
export type PlanDraft = Omit<PlanSpec, 'gauge' | 'units' | 'terms'>;

/** Calc's specification from the maker's choices and the gauge in force. */
export function toSpec(draft: PlanDraft, gauge: PieceGauge, preferences: Preferences): PlanSpec {
  const figure = (from: PieceGauge['stitchesPer10cm']) => ({
    value: from.value,
    standardUncertainty: from.standardUncertainty,
  });
  return {
    ...draft,
    gauge: {
      stitchesPer10cm: figure(gauge.stitchesPer10cm),
      rowsPer10cm: figure(gauge.rowsPer10cm),
    },
    units: preferences.lengths,
    terms: preferences.terms,
  };
}

/** The maker's choices out of a kept specification; null when it is not one. */
export function fromSpec(kept: unknown): PlanDraft | null {
  const read = planSpecSchema.safeParse(kept);
  if (!read.success) return null;
  const { gauge: _gauge, units: _units, terms: _terms, ...draft } = read.data;
  return draft;
}

/** What the page shows until the maker types her own. */
export const FIRST_DRAFT: PlanDraft = SAMPLE_PLAN;

/**
 * The choices for a swatch of her own: the size she typed and all else she changed, but nothing of the sample's
 * yarns, stripes, border and pattern, which would be reckoned with as if they were hers.
 *
 * @param yarnName what her yarn is called until she names it
 */
export function withoutSample(draft: PlanDraft, yarnName: string): PlanDraft {
  if (draft.colours !== FIRST_DRAFT.colours) return draft;
  const [first] = FIRST_DRAFT.colours ?? [];
  const isSample = <K extends keyof PlanDraft>(key: K) => draft[key] === FIRST_DRAFT[key];
  return {
    ...draft,
    colours: [{ id: first?.id ?? 'a', name: yarnName, hex: first?.hex }],
    layout: { kind: 'solid' },
    border: isSample('border') ? null : draft.border && { ...draft.border, colour: first?.id },
    multiple: isSample('multiple') ? undefined : draft.multiple,
    fixed: undefined,
  };
}
