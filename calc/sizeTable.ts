import type { Advice } from './cautions.ts';
import { CalcError } from './errors.ts';
import { planPiece, type Plan } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { SIZE_PRESETS } from './sizePresets.ts';
import type { Estimate } from './uncertain.ts';

export interface TableSize {
  name: string;
  /** mm, or text such as "36 in". */
  widthMm: number | string;
  heightMm: number | string;
  forInfant?: boolean;
}

export interface SizeRow {
  name: string;
  target: { widthMm: number; heightMm: number };
  finished: { widthMm: Estimate; heightMm: Estimate };
  chain: number;
  repeats: number;
  stitches: number;
  rows: number;
  /** Stitches of each border round. */
  borderRounds: number[];
  yarn: { colour: string; name: string; grams: Estimate; metres: Estimate | null; skeins: number | null }[];
  source: string | null;
  cautions: Advice[];
  plan: Plan;
}

/** The specification of a plan, less its target: what all sizes of a pattern share. */
export type PatternSpec = Omit<PlanSpec, 'target' | 'fixed'> & Partial<Pick<PlanSpec, 'target'>>;

/**
 * One gauge, several sizes: the table a pattern writer publishes. Sizes are preset keys or the maker's
 * own; every row is a whole plan, so the counts are those `planPiece` gives for that size alone, and a
 * larger target never gets fewer stitches, rows or yarn.
 *
 * @throws CalcError `unknown-key` for a preset that is not listed, or whatever the plan refuses.
 * @example
 * sizeTable({ gauge: { stitchesPer10cm: 13.5, rowsPer10cm: 9 }, stitch: 'hdc' }, ['baby-blanket', 'throw'])
 *   .map((row) => row.chain); // [125, 173]
 */
export function sizeTable(pattern: PatternSpec, sizes: readonly (string | TableSize)[]): SizeRow[] {
  return sizes.map((size, index): SizeRow => {
    const { name, widthMm, heightMm, forInfant, source } = lookUp(size, index);
    const plan = planPiece({
      ...pattern,
      name,
      target: { rounding: pattern.target?.rounding, widthMm, heightMm, forInfant },
    });
    return {
      name,
      target: plan.target,
      finished: plan.finished,
      chain: plan.chain,
      repeats: plan.repeats,
      stitches: plan.stitches,
      rows: plan.rows,
      borderRounds: plan.border?.rounds.map((round) => round.stitches) ?? [],
      yarn: (plan.yarn?.perColour ?? []).map((each) => ({
        colour: each.colour,
        name: each.name,
        grams: each.grams,
        metres: each.metres,
        skeins: each.skeins?.forSafety95 ?? null,
      })),
      source,
      cautions: plan.cautions,
      plan,
    };
  });
}

function lookUp(size: string | TableSize, index: number): Required<TableSize> & { source: string | null } {
  if (typeof size !== 'string') return { forInfant: false, ...size, source: null };
  const preset = SIZE_PRESETS.find((each) => each.key === size);
  if (!preset) {
    const allowed = `one of: ${SIZE_PRESETS.map((each) => each.key).join(', ')}`;
    throw new CalcError('unknown-key', `sizes.${index}`, `There is no size "${size}".`, allowed);
  }
  return preset;
}
