import { BORDER_AREA_RATIO, borderEquivalents, type BorderYarn } from './borderEquivalents.ts';
import { combineEstimates } from './combineEstimates.ts';
import { countColours, noCount, type ColourCount } from './countColours.ts';
import { countedBorder } from './countedBorder.ts';
import type { Colour, ReadyPlanSpec } from './readPlanSpec.ts';
import { sizeModel } from './sizeModel.ts';
import type { Stitch } from './stitches.ts';
import type { Uncertain } from './uncertain.ts';

export type YarnEvidenceKind = 'used-so-far' | 'unravelled' | 'swatch-weight' | 'label';

export interface YarnBasis {
  kind: YarnEvidenceKind;
  gramsPerStitch: Uncertain;
  /** Weight in the combination, 0…1. */
  weight: number;
}

export interface YarnPerStitch extends Uncertain {
  basis: YarnBasis[];
  /** Above about 2, the kinds of evidence contradict one another. */
  birgeRatio: number;
}

/** Yarn in one foundation chain ÷ yarn in one stitch of the fabric. */
export function chainEquivalent(stitch: Stitch): Uncertain {
  const value = 1 / stitch.yarnInChains;
  return { value, standardUncertainty: 0.15 * value };
}

/**
 * Relative standard uncertainty by which a piece's yarn per stitch differs from its swatch's: another
 * day, another tension (from memory: 2–3 %).
 */
const SWATCH_TO_PIECE_RELATIVE_U = 0.025;
/** The same for the rest of a piece against what is done of it, and against another colour's yarn (from memory). */
const USED_RELATIVE_U = 0.01;
const OTHER_COLOUR_RELATIVE_U = 0.03;

/**
 * Length of yarn in one stitch × wraps: (yarn length per area) × (yarn diameter) is close to 3 for plain
 * crochet. From 32 in of yarn per in² (sc 31.42, hdc 32.08, dc 31.6; "Crochet Yarn Estimating",
 * windchilde.com) of a worsted yarn about 2.4 mm thick: 12.6 cm per cm² × 0.24 cm = 3.0.
 */
export const CROCHET_LENGTH_TIMES_DIAMETER: Uncertain = { value: 3, standardUncertainty: 0.6 };

/**
 * Munden's Ks of plain knitting, stitches per cm² × (cm of yarn per stitch)² (D. L. Munden, J. Textile
 * Inst. 50, 1959; from memory: 19.0 dry relaxed, 23.1 fully relaxed). The middle, both within 1 u.
 */
export const KNIT_STITCH_CONSTANT: Uncertain = { value: 21, standardUncertainty: 2.5 };

/**
 * Yarn diameter in mm from its metres per gram: a worsted yarn of 2 m/g is about 2.4 mm thick, and the
 * cross-section goes with the weight per metre (from memory).
 */
export function yarnDiameterMm(metresPerGram: number): number {
  return 2.4 * Math.sqrt(2 / metresPerGram);
}

/**
 * Grams of `colour` in one stitch of the body, from every kind of evidence there is, combined by
 * inverse variance. `null` when there is no evidence at all.
 */
export function yarnPerStitch(
  spec: ReadyPlanSpec,
  colour: Colour,
  body: { chain: number; stitches: number },
): YarnPerStitch | null {
  const found: { kind: YarnEvidenceKind; gramsPerStitch: Uncertain }[] = [];
  const chain = chainEquivalent(spec.stitch);
  const metresPerGram = metresPerGramOf(colour);
  /** Grams of this colour for a gram of another: the same length of a yarn of other weight per metre. */
  const gramsForGram = (id: string): number => {
    const other = metresPerGramOf(spec.colours.find((each) => each.id === id)!);
    return other !== null && metresPerGram !== null ? other / metresPerGram : 1;
  };
  const add = (kind: YarnEvidenceKind, grams: Uncertain, equivalents: number, relativeU: number): void => {
    const value = grams.value / equivalents;
    if (!(value > 0)) return;
    found.push({
      kind,
      gramsPerStitch: {
        value,
        standardUncertainty: value * Math.hypot(grams.standardUncertainty / grams.value, relativeU),
      },
    });
  };

  const swatch = spec.yarn.swatchWeight;
  if (swatch) {
    const factor = gramsForGram(swatch.colour);
    const worked = swatch.stitches - (spec.stitch.turningChainCounts ? 1 : 0);
    const chains =
      (swatch.foundationChain ? swatch.stitches + spec.stitch.chainsSkipped : 0) +
      (spec.stitch.craft === 'knit' ? swatch.stitches : 0) +
      spec.stitch.turningChain * (swatch.rows - 1);
    const equivalents = worked * swatch.rows + chain.value * chains;
    const chainU = (chain.standardUncertainty * chains) / equivalents;
    add(
      'swatch-weight',
      scaled(swatch.grams, factor),
      equivalents,
      Math.hypot(chainU, SWATCH_TO_PIECE_RELATIVE_U),
    );
  }
  const unravelled = spec.yarn.unravelled;
  if (unravelled && metresPerGram !== null) {
    add(
      'unravelled',
      scaled(unravelled.metres, 1 / metresPerGram),
      unravelled.stitches,
      SWATCH_TO_PIECE_RELATIVE_U,
    );
  }
  for (const used of spec.yarn.usedSoFar) {
    const factor = gramsForGram(used.colour);
    const count = usedCount(spec, used, body);
    const grams = { ...used.grams, value: used.grams.value - count.strandGrams };
    const own = used.colour === colour.id ? USED_RELATIVE_U : OTHER_COLOUR_RELATIVE_U;
    if (count.equivalents > 0 && grams.value > 0)
      add(
        'used-so-far',
        scaled(grams, factor),
        count.equivalents,
        Math.hypot(own, count.relativeUncertainty),
      );
  }
  if (spec.yarn.label && metresPerGram !== null) {
    const label = labelMetresPerStitch(spec, metresPerGram);
    add('label', scaled(label, 1 / metresPerGram), 1, 0);
  }
  if (found.length === 0) return null;
  const combined = combineEstimates(found.map((each) => each.gramsPerStitch));
  const basis = found.map((each, index) => ({ ...each, weight: combined.weights[index]! }));
  basis.sort((a, b) => b.weight - a.weight);
  return {
    value: combined.value,
    standardUncertainty: combined.standardUncertainty,
    basis,
    birgeRatio: combined.birgeRatio,
  };
}

export function metresPerGramOf(colour: Colour): number | null {
  return colour.skeinGrams !== null && colour.skeinMetres !== null
    ? colour.skeinMetres / colour.skeinGrams
    : null;
}

function scaled({ value, standardUncertainty }: Uncertain, factor: number): Uncertain {
  return { value: value * factor, standardUncertainty: standardUncertainty * factor };
}

/**
 * Stitch equivalents worked so far in one colour, rounds of the border among them, and the grams of it that went
 * into carried strands and tails: those make no stitches, so they are kept apart. The border's stitches are known
 * by their area only, which makes the equivalents uncertain.
 */
export function usedCount(
  spec: ReadyPlanSpec,
  used: ReadyPlanSpec['yarn']['usedSoFar'][number],
  body: { chain: number; stitches: number },
): { equivalents: number; strandGrams: number; relativeUncertainty: number } {
  if (used.stitches !== null) return { equivalents: used.stitches, strandGrams: 0, relativeUncertainty: 0 };
  const rows = used.rowsDone!;
  const counts = countColours({
    ...body,
    layout: spec.layout,
    stitch: spec.stitch,
    rows,
    edgeStitches: edgeStitchesOf(spec),
    carryUpRows: spec.practice.carryUpRows,
    boundOff: used.borderRoundsDone > 0,
  });
  const count = counts[used.colour] ?? noCount();
  const chains = count.foundationChains + count.turningChains;
  const rounds = borderWorked(spec, used.borderRoundsDone, body.stitches, rows);
  const ofBorder = BORDER_AREA_RATIO.value * borderEquivalents(spec, rounds, used.colour);
  const equivalents = count.workedStitches + chainEquivalent(spec.stitch).value * chains + ofBorder;
  const strands = count.strands + (ofBorder > 0 ? 1 : 0);
  const metresPerGram = metresPerGramOf(spec.colours.find((each) => each.id === used.colour)!);
  return {
    equivalents,
    strandGrams: metresPerGram === null ? 0 : strandMm(spec, { ...count, strands }) / 1000 / metresPerGram,
    relativeUncertainty:
      equivalents > 0 ? (BORDER_AREA_RATIO.standardUncertainty * ofBorder) / equivalents : 0,
  };
}

/** The first `done` rounds of the border around a body of so many stitches and rows; null for none. */
export function borderWorked(
  spec: ReadyPlanSpec,
  done: number,
  stitches: number,
  rows: number,
): BorderYarn | null {
  const border = done > 0 ? countedBorder(spec, sizeModel(spec), stitches, rows) : null;
  return border && { ...border, rounds: border.rounds.slice(0, done) };
}

/** Yarn in carried strands, side strands and tails of one colour, mm. */
function strandMm(spec: ReadyPlanSpec, count: ColourCount): number {
  const carried = (count.carriedStitches * 100) / spec.gauge.stitchesPer10cm.value;
  const upTheSide = (count.sideRows * 100) / spec.gauge.rowsPer10cm.value;
  return spec.practice.carriedTakeUp * (carried + upTheSide) + 2 * spec.practice.tailMm * count.strands;
}

/** Stitches outside whole repeats of the stitch multiple. */
export function edgeStitchesOf(spec: ReadyPlanSpec): number {
  const { m, plus } = spec.multiple;
  const skipped = spec.stitch.chainsSkipped - (spec.stitch.skippedChainsCount ? 1 : 0);
  return m === 1 ? 0 : Math.max(0, plus - skipped);
}

/** (d): metres of yarn per stitch from the label and the gauge alone, with a wide uncertainty. */
function labelMetresPerStitch(spec: ReadyPlanSpec, metresPerGram: number): Uncertain {
  const areaMm2 = (100 / spec.gauge.stitchesPer10cm.value) * (100 / spec.gauge.rowsPer10cm.value);
  if (spec.stitch.craft === 'knit') {
    const lengthMm = Math.sqrt(KNIT_STITCH_CONSTANT.value * areaMm2);
    // texture changes the area of a stitch more than its yarn, hence 10 % for the model
    const relative = Math.hypot(
      KNIT_STITCH_CONSTANT.standardUncertainty / KNIT_STITCH_CONSTANT.value / 2,
      0.1 + 0.3 * Math.abs(spec.stitch.yarnPerAreaFactor - 1),
    );
    return { value: lengthMm / 1000, standardUncertainty: (relative * lengthMm) / 1000 };
  }
  const wraps = spec.yarn.wrapsPerInch;
  const diameterMm = wraps === null ? yarnDiameterMm(metresPerGram) : 25.4 / wraps;
  const lengthMm =
    (CROCHET_LENGTH_TIMES_DIAMETER.value * spec.stitch.yarnPerAreaFactor * areaMm2) / diameterMm;
  const relative = Math.hypot(
    CROCHET_LENGTH_TIMES_DIAMETER.standardUncertainty / CROCHET_LENGTH_TIMES_DIAMETER.value,
    wraps === null ? 0.15 : 0.08,
  );
  return { value: lengthMm / 1000, standardUncertainty: (relative * lengthMm) / 1000 };
}
