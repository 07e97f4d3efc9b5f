import { CalcError } from './errors.ts';
import { planPiece } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { remainingYarn } from './remainingYarn.ts';
import { chanceWithGrams, skeinsToBuy } from './runningOut.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';
import { usedCount, yarnPerStitch } from './yarnPerStitch.ts';

export interface UsedYarn {
  colour: string;
  /** Weight before the first stitch and now, g; all skeins at hand together. */
  gramsBefore: number;
  gramsLeft: number;
  rowsDone: number;
  /** Rounds of the border that are worked besides those rows; 0 when left out. */
  borderRoundsDone?: number;
  /** Of the difference; a kitchen scale in whole grams gives about 0.4. */
  standardUncertaintyG?: number;
}

export interface UpdatedYarnUse {
  colour: string;
  /**
   * Grams in one stitch: from the swatch and label, from the weights so far (null for a colour that has not been
   * worked with yet), and both together.
   */
  prior: Estimate | null;
  observed: Estimate | null;
  updated: Estimate;
  /** How many standard uncertainties the weights lie from the prior. */
  surprise: number | null;
  /** Grams so far in carried strands and tails, kept apart: they make no stitches. */
  strandGrams: number;
  /** Still to be worked, border included. */
  remainingGrams: Estimate;
  chanceOfRunningOut: number;
  /** Skeins to add so that the chance is at most 5 %; null without a label weight. */
  skeinsToBuy: number | null;
}

/** A colour whose turn has not come may have lost so much to a swatch or to the scale's mood, g. */
const UNUSED_GRAMS = 5;
/** Relative standard uncertainty by which the rest of a piece differs from what is done (from memory). */
const REST_RELATIVE_U = 0.01;

/**
 * Brings what was used so far to bear on grams per stitch, colour by colour: a normal prior from swatch
 * and label, a normal observation, a normal posterior (conjugate; Gelman et al., Bayesian Data Analysis,
 * 2.5), and skeins planned anew from it.
 *
 * @param input the plan, with `fixed` chain and rows as they are being worked.
 * @throws CalcError when more is left than there was, or nothing has been worked.
 * @example
 * updateYarnUse(spec, [{ colour: 'sand', gramsBefore: 400, gramsLeft: 290, rowsDone: 40 }])[0]!.colour; // 'sand'
 */
export function updateYarnUse(input: PlanSpec, used: readonly UsedYarn[]): UpdatedYarnUse[] {
  const asked: PlanSpec = {
    ...input,
    yarn: {
      ...input.yarn,
      usedSoFar: used.map((each) => ({ ...each, standardUncertaintyG: each.standardUncertaintyG ?? 0.4 })),
    },
  };
  const spec = readPlanSpec(asked);
  const plan = planPiece(asked);
  const before: ReadyPlanSpec = { ...spec, yarn: { ...spec.yarn, usedSoFar: [] } };

  return spec.yarn.usedSoFar.flatMap((each, index): UpdatedYarnUse[] => {
    const colour = spec.colours.find((one) => one.id === each.colour)!;
    const { equivalents, strandGrams, relativeUncertainty } = usedCount(spec, each, plan);
    const worked = each.grams.value - strandGrams;
    const isUnused = equivalents === 0 && worked <= UNUSED_GRAMS;
    if (!isUnused && (!(equivalents > 0) || !(worked > 0))) {
      throw new CalcError(
        'inconsistent',
        `used.${index}`,
        `${colour.name}: by these weights none of it went into ${each.rowsDone} rows. Weigh what is left again, or say how much there was before.`,
        'weights and rows in which this colour was used',
      );
    }
    const prior = yarnPerStitch(before, colour, plan);
    const relative = Math.hypot(
      each.grams.standardUncertainty / worked,
      REST_RELATIVE_U,
      relativeUncertainty,
    );
    const observed: Uncertain | null = isUnused
      ? null
      : { value: worked / equivalents, standardUncertainty: (worked / equivalents) * relative };
    // Of a colour that waits for its turn, what the others have used tells most.
    const updated =
      observed && prior ? posterior(prior, observed) : (observed ?? yarnPerStitch(spec, colour, plan));
    if (!updated) return [];
    const { rowsDone, gramsLeft, borderRoundsDone = 0 } = used[index]!;
    const remainingGrams = remainingYarn(spec, {
      chain: plan.chain,
      stitches: plan.stitches,
      rows: plan.rows,
      rowsDone,
      border: plan.border
        ? {
            stitchWidthMm: plan.border.stitchWidthMm.value,
            rounds: plan.border.rounds.slice(borderRoundsDone),
          }
        : null,
      gramsPerStitch: { [colour.id]: updated },
    })[colour.id]!;
    return [
      {
        colour: colour.id,
        prior: prior && estimate(prior.value, prior.standardUncertainty, 0),
        observed: observed && estimate(observed.value, observed.standardUncertainty, 0),
        updated: estimate(updated.value, updated.standardUncertainty, 0),
        surprise:
          prior && observed
            ? (observed.value - prior.value) /
              Math.hypot(observed.standardUncertainty, prior.standardUncertainty)
            : null,
        strandGrams,
        remainingGrams,
        chanceOfRunningOut: chanceWithGrams(remainingGrams, gramsLeft),
        skeinsToBuy:
          colour.skeinGrams === null ? null : skeinsToBuy(remainingGrams, gramsLeft, colour.skeinGrams),
      },
    ];
  });
}

/** Normal prior and normal observation of known variances: precisions add. */
function posterior(prior: Uncertain, observed: Uncertain): Uncertain {
  const a = 1 / prior.standardUncertainty ** 2;
  const b = 1 / observed.standardUncertainty ** 2;
  return {
    value: (a * prior.value + b * observed.value) / (a + b),
    standardUncertainty: Math.sqrt(1 / (a + b)),
  };
}
