import type { BorderYarn } from './borderEquivalents.ts';
import { countColours, noCount } from './countColours.ts';
import { propagate } from './propagate.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';
import { yarnNeedModel } from './yarnForPiece.ts';
import { edgeStitchesOf } from './yarnPerStitch.ts';

export interface RemainingYarnOptions {
  chain: number;
  stitches: number;
  rows: number;
  /** Rows already worked; 0 for the whole piece. */
  rowsDone: number;
  /** Rounds that are still to be worked. */
  border: BorderYarn | null;
  /** Grams in one stitch, by colour. */
  gramsPerStitch: Record<string, Uncertain>;
  /** Whether knitting ends by binding off; true when left out. */
  boundOff?: boolean;
}

/** Grams of each colour still to be worked after `rowsDone` rows, border included, by colour id. */
export function remainingYarn(spec: ReadyPlanSpec, options: RemainingYarnOptions): Record<string, Estimate> {
  const { chain, stitches, rows, rowsDone, border, gramsPerStitch, boundOff = true } = options;
  const counts = countColours({
    layout: spec.layout,
    stitch: spec.stitch,
    chain,
    stitches,
    rows,
    fromRow: rowsDone + 1,
    edgeStitches: edgeStitchesOf(spec),
    carryUpRows: spec.practice.carryUpRows,
    boundOff,
  });
  // the swatch is worked and gone by now
  const begun: ReadyPlanSpec = { ...spec, practice: { ...spec.practice, keepSwatch: false } };
  return Object.fromEntries(
    spec.colours.flatMap((colour) => {
      const per = gramsPerStitch[colour.id];
      if (!per) return [];
      const model = yarnNeedModel(begun, border, colour, counts[colour.id] ?? noCount(), per);
      const { value, standardUncertainty } = propagate(model.grams, model.inputs);
      return [[colour.id, estimate(value, standardUncertainty, 0)]];
    }),
  );
}
