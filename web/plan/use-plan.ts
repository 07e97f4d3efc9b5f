import { useMemo } from 'react';
import {
  CalcError,
  type LengthUnit,
  planPiece,
  readPlanSpec,
  type Plan,
  type PlanSpec,
  type ReadyPlanSpec,
} from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { refusalWords } from '../lib/say.ts';

export type Planned =
  { plan: Plan; ready: ReadyPlanSpec; wrong: null } | { plan: null; ready: null; wrong: string };

/** Plans in the page, at once. What cannot be planned comes back as the sentence that says why. */
export function planWith(spec: PlanSpec, lengths: LengthUnit): Planned {
  try {
    return { plan: planPiece(spec), ready: readPlanSpec(spec), wrong: null };
  } catch (error) {
    if (error instanceof CalcError) return { plan: null, ready: null, wrong: refusalWords(error, lengths) };
    throw error;
  }
}

/** @param missing what to say while there is nothing to plan with */
export function usePlan(spec: PlanSpec | null, missing: string): Planned {
  const { lengths } = useFormat();
  return useMemo(
    () => (spec ? planWith(spec, lengths) : { plan: null, ready: null, wrong: missing }),
    [spec, lengths, missing],
  );
}
