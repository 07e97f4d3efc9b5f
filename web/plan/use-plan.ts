import { useMemo } from 'react';
import {
  CalcError,
  planPiece,
  readPlanSpec,
  type Plan,
  type PlanSpec,
  type ReadyPlanSpec,
} from '../../calc/index.ts';
import { text } from '../lib/text.ts';

/** A neighbour that the maker takes instead of what the rounding gave. */
export interface Pick {
  chain?: number;
  rows?: number;
}

export type Planned =
  | { plan: Plan; spec: PlanSpec; ready: ReadyPlanSpec; wrong: null }
  | { plan: null; spec: PlanSpec | null; ready: null; wrong: string | null };

/**
 * Plans in the page, at once. A picked neighbour becomes the size aimed for, so that border, yarn and sentences
 * follow it; the list of neighbours stays measured against what the maker typed.
 *
 * @returns the plan and the specification it was made from, which plans the same piece anywhere else.
 */
export function planWith(spec: PlanSpec, pick: Pick): Planned {
  try {
    const typed = planPiece(spec);
    const width = typed.neighbours.width.find((one) => one.chain === pick.chain);
    const height = typed.neighbours.height.find((one) => one.rows === pick.rows);
    if (!width && !height) return { plan: typed, spec, ready: readPlanSpec(spec), wrong: null };
    const picked: PlanSpec = {
      ...spec,
      target: {
        ...spec.target,
        widthMm: width?.finishedWidthMm.value ?? spec.target.widthMm,
        heightMm: height?.finishedHeightMm.value ?? spec.target.heightMm,
      },
    };
    const plan = planPiece(picked);
    const neighbours: Plan['neighbours'] = {
      width: typed.neighbours.width.map((one) => ({ ...one, chosen: one.chain === plan.chain })),
      height: typed.neighbours.height.map((one) => ({ ...one, chosen: one.rows === plan.rows })),
    };
    return { plan: { ...plan, neighbours }, spec: picked, ready: readPlanSpec(picked), wrong: null };
  } catch (error) {
    if (error instanceof CalcError) return { plan: null, spec, ready: null, wrong: error.message };
    throw error;
  }
}

export function usePlan(spec: PlanSpec | null, pick: Pick): Planned {
  return useMemo(
    () => (spec ? planWith(spec, pick) : { plan: null, spec: null, ready: null, wrong: text('plan.first') }),
    [spec, pick],
  );
}
