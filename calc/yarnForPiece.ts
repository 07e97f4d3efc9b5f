import { BORDER_AREA_RATIO, borderEquivalents, type BorderYarn } from './borderEquivalents.ts';
import { countColours, noCount, type ColourCount } from './countColours.ts';
import type { PlannedBorder } from './planPiece.ts';
import { propagate } from './propagate.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { chanceOfRunningOut, skeinsForSafety } from './runningOut.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';
import {
  chainEquivalent,
  edgeStitchesOf,
  metresPerGramOf,
  yarnPerStitch,
  type YarnBasis,
  type YarnPerStitch,
} from './yarnPerStitch.ts';

export interface DyeLotChance {
  lot: string;
  skeins: number;
  /** Chance that this lot alone does not suffice. */
  chanceOfRunningOut: number;
}

export interface ColourYarn {
  colour: string;
  name: string;
  grams: Estimate;
  /** null when the label's length is unknown. */
  metres: Estimate | null;
  skeins: null | {
    skeinGrams: number;
    /** Expected need in skeins, not rounded. */
    expected: number;
    /** Fewest skeins with at most 5 % chance of running out. */
    forSafety95: number;
    /** Chance of running out by number of skeins, from the last hopeless number to the first safe one. */
    chances: { skeins: number; chanceOfRunningOut: number }[];
    /** What `forSafety95` skeins leave over. */
    leftoverGrams: Estimate;
  };
  dyeLots: DyeLotChance[];
  /** Where the grams go, expected values. */
  parts: {
    fabric: number;
    foundationAndTurning: number;
    carried: number;
    border: number;
    tails: number;
    swatch: number;
  };
  stitches: { body: number; border: number };
  basis: YarnBasis[];
  /** False when the kinds of evidence contradict one another by more than their uncertainties. */
  evidenceAgrees: boolean;
}

export interface YarnPlan {
  perColour: ColourYarn[];
  totalGrams: Estimate;
  totalMetres: Estimate | null;
}

export interface YarnForPieceOptions {
  chain: number;
  stitches: number;
  rows: number;
  border: PlannedBorder | null;
}

const TAIL_RELATIVE_U = 0.2;
const TAKE_UP_U = 0.03;

/**
 * Yarn per colour for a piece of known counts: fabric, foundation and turning chains, carried strands,
 * border, tails and swatch. `null` when there is no evidence of what a stitch uses.
 */
export function yarnForPiece(spec: ReadyPlanSpec, piece: YarnForPieceOptions): YarnPlan | null {
  const counts = countColours({
    layout: spec.layout,
    stitch: spec.stitch,
    chain: piece.chain,
    stitches: piece.stitches,
    rows: piece.rows,
    edgeStitches: edgeStitchesOf(spec),
    carryUpRows: spec.practice.carryUpRows,
  });
  const perColour: ColourYarn[] = [];
  for (const colour of spec.colours) {
    const per = yarnPerStitch(spec, colour, piece);
    if (!per) return null;
    perColour.push(colourYarn(spec, piece, colour, counts[colour.id] ?? noCount(), per));
  }
  // one yarn-per-stitch figure stands behind all colours, so their errors add up rather than cancel
  const add = (pick: (each: ColourYarn) => Estimate): Estimate =>
    estimate(
      perColour.reduce((sum, each) => sum + pick(each).value, 0),
      perColour.reduce((sum, each) => sum + pick(each).standardUncertainty, 0),
      0,
    );
  return {
    perColour,
    totalGrams: add((each) => each.grams),
    totalMetres: perColour.every((each) => each.metres) ? add((each) => each.metres!) : null,
  };
}

export interface YarnNeedModel {
  inputs: Uncertain[];
  /** Grams as a function of the inputs. */
  grams: (values: number[]) => number;
  parts: (values: number[]) => ColourYarn['parts'];
}

/**
 * Grams of one colour as a function of independent uncertain quantities: yarn per stitch, chain against
 * stitch, take-up of carried strands, border yarn per area, length of tails.
 */
export function yarnNeedModel(
  spec: ReadyPlanSpec,
  border: BorderYarn | null,
  colour: ReadyPlanSpec['colours'][number],
  count: ColourCount,
  per: Uncertain,
): YarnNeedModel {
  const metresPerGram = metresPerGramOf(colour);
  const stitchMm = 100 / spec.gauge.stitchesPer10cm.value;
  const rowMm = 100 / spec.gauge.rowsPer10cm.value;
  const rounds = border?.rounds.filter((round) => round.colour === colour.id) ?? [];
  const ofBorder = borderEquivalents(spec, border, colour.id);
  const strands = count.strands + (rounds.length > 0 ? 1 : 0);
  const strandMm = count.carriedStitches * stitchMm + count.sideRows * rowMm;
  const chain = chainEquivalent(spec.stitch);
  // without a label length, a strand weighs a third of the chain of its length: a chain is three strands deep
  const gramsPerMm =
    metresPerGram === null ? (per.value * chain.value) / (3 * stitchMm) : 1 / metresPerGram / 1000;
  const swatch = spec.yarn.swatchWeight;
  const swatchGrams = spec.practice.keepSwatch && swatch?.colour === colour.id ? swatch.grams.value : 0;
  const chains = count.foundationChains + count.turningChains;
  return {
    inputs: [
      per,
      chain,
      { value: spec.practice.carriedTakeUp, standardUncertainty: TAKE_UP_U },
      BORDER_AREA_RATIO,
      { value: spec.practice.tailMm, standardUncertainty: TAIL_RELATIVE_U * spec.practice.tailMm },
    ],
    grams: (values) =>
      values[0]! * (count.workedStitches + values[1]! * chains + values[3]! * ofBorder) +
      gramsPerMm * (values[2]! * strandMm + 2 * values[4]! * strands) +
      swatchGrams,
    parts: (values) => ({
      fabric: values[0]! * count.workedStitches,
      foundationAndTurning: values[0]! * values[1]! * chains,
      carried: gramsPerMm * values[2]! * strandMm,
      border: values[0]! * values[3]! * ofBorder,
      tails: gramsPerMm * 2 * values[4]! * strands,
      swatch: swatchGrams,
    }),
  };
}

function colourYarn(
  spec: ReadyPlanSpec,
  piece: YarnForPieceOptions,
  colour: ReadyPlanSpec['colours'][number],
  count: ColourCount,
  per: YarnPerStitch,
): ColourYarn {
  const metresPerGram = metresPerGramOf(colour);
  const border = piece.border
    ? { stitchWidthMm: piece.border.stitchWidthMm.value, rounds: piece.border.rounds }
    : null;
  const model = yarnNeedModel(spec, border, colour, count, per);
  const need = propagate(model.grams, model.inputs);
  const grams = estimate(need.value, need.standardUncertainty, 0);
  return {
    colour: colour.id,
    name: colour.name,
    grams,
    metres:
      metresPerGram === null
        ? null
        : estimate(need.value * metresPerGram, need.standardUncertainty * metresPerGram, 0),
    skeins: colour.skeinGrams === null ? null : skeinsOf(grams, colour.skeinGrams),
    dyeLots:
      colour.skeinGrams === null
        ? []
        : colour.dyeLots.map(({ lot, skeins }) => ({
            lot,
            skeins,
            chanceOfRunningOut: chanceOfRunningOut(grams, colour.skeinGrams!, skeins),
          })),
    parts: model.parts(model.inputs.map((each) => each.value)),
    stitches: {
      body: count.shownStitches,
      border: (border?.rounds ?? []).reduce(
        (sum, round) => sum + (round.colour === colour.id ? round.stitches : 0),
        0,
      ),
    },
    basis: per.basis,
    evidenceAgrees: per.birgeRatio < 2,
  };
}

function skeinsOf(grams: Estimate, skeinGrams: number): ColourYarn['skeins'] {
  const forSafety95 = skeinsForSafety(grams, skeinGrams);
  const chances: { skeins: number; chanceOfRunningOut: number }[] = [];
  for (let skeins = Math.max(1, forSafety95 - 2); skeins <= forSafety95 + 1; skeins++) {
    chances.push({ skeins, chanceOfRunningOut: chanceOfRunningOut(grams, skeinGrams, skeins) });
  }
  return {
    skeinGrams,
    expected: grams.value / skeinGrams,
    forSafety95,
    chances,
    leftoverGrams: estimate(forSafety95 * skeinGrams - grams.value, grams.standardUncertainty),
  };
}
