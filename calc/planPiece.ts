import type { BorderRound, EdgePickUp } from './borderRounds.ts';
import { countedBorder } from './countedBorder.ts';
import { cautionsFor, type Advice } from './cautions.ts';
import { chooseOption } from './chooseOption.ts';
import { chainIsLegal, chainOptions, NEIGHBOURS, rowOptions, rowsAreLegal } from './countOptions.ts';
import { CalcError } from './errors.ts';
import type { PlanSpec } from './planSpec.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { sizeModel, stitchesOf, type SizeModel } from './sizeModel.ts';
import { estimate, type Estimate } from './uncertain.ts';
import type { Said } from './said.ts';
import { SENTENCES } from './sentences.ts';
import { stepsOf, writePlan } from './writePlan.ts';
import { yarnForPiece, type YarnPlan } from './yarnForPiece.ts';

export interface WidthOption {
  /** Foundation chain, or stitches to cast on. */
  chain: number;
  stitches: number;
  /** k of the stitch multiple. */
  repeats: number;
  /** Finished width, border included. */
  finishedWidthMm: Estimate;
  differenceMm: number;
  chosen: boolean;
}

export interface HeightOption {
  rows: number;
  repeats: number;
  /** Finished height, border included. */
  finishedHeightMm: Estimate;
  differenceMm: number;
  chosen: boolean;
}

export interface PlannedRound extends BorderRound {
  stitchKey: string;
  colour: string;
  depthMm: number;
}

export interface PlannedBorder {
  /** Depth of all rounds, on each side. */
  depthMm: Estimate;
  /** Width and height that the border adds to the body, mm. */
  allowanceMm: number;
  stitchWidthMm: Estimate;
  measured: boolean;
  widthEdge: EdgePickUp;
  heightEdge: EdgePickUp;
  rounds: PlannedRound[];
}

export interface Plan {
  name: string | null;
  craft: 'crochet' | 'knit';
  stitch: { key: string; name: string };
  terms: 'us' | 'uk';
  units: 'cm' | 'in';
  gauge: { stitchesPer10cm: Estimate; rowsPer10cm: Estimate };
  target: { widthMm: number; heightMm: number };
  /** Foundation chain, or stitches to cast on. */
  chain: number;
  stitches: number;
  /** k in chain = m × k + plus. */
  repeats: number;
  multiple: { m: number; plus: number; parity: 'any' | 'odd' | 'even' };
  rows: number;
  rowRepeats: number;
  /** Size without the border. */
  body: { widthMm: Estimate; heightMm: Estimate };
  /** Size with the border. */
  finished: { widthMm: Estimate; heightMm: Estimate };
  /** The choice and what lies next to it, ascending. */
  neighbours: { width: WidthOption[]; height: HeightOption[] };
  border: PlannedBorder | null;
  yarn: YarnPlan | null;
  /** What to do, in the maker's words, one sentence or two each. */
  instructions: string[];
  /** The same as codes and values, for pages that say it in words of their own. */
  steps: Said[];
  cautions: Advice[];
  advice: Advice[];
}

/**
 * Everything that follows from a gauge, a stitch and a target size: foundation chain, stitches, rows,
 * border, finished size with its uncertainty, yarn per colour, and the plan in sentences.
 *
 * @param input a plan specification; see `planSpecSchema`.
 * @throws CalcError naming the field at fault.
 * @example
 * planPiece({
 *   gauge: { stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 }, rowsPer10cm: 9.1 },
 *   stitch: 'hdc',
 *   target: { widthMm: '89 cm', heightMm: '102 cm' },
 * }).chain; // 122
 */
export function planPiece(input: PlanSpec): Plan {
  const spec = readPlanSpec(input);
  const size = sizeModel(spec);

  const chains = chainOptions(spec, size);
  const widthIndex = chooseCount(chains, {
    fixed: spec.fixed.chain,
    isLegal: (chain) => chainIsLegal(chain, spec),
    sizeMm: (chain) => size.expectedWidthMm(stitchesOf(chain, spec)),
    targetMm: spec.target.widthMm,
    rounding: spec.target.rounding,
    fields: { target: 'target.widthMm', fixed: 'fixed.chain' },
  });
  const rowCounts = rowOptions(spec, size);
  const heightIndex = chooseCount(rowCounts, {
    fixed: spec.fixed.rows,
    isLegal: (rows) => rowsAreLegal(rows, spec),
    sizeMm: (rows) => size.expectedHeightMm(rows),
    targetMm: spec.target.heightMm,
    rounding: spec.target.rounding,
    fields: { target: 'target.heightMm', fixed: 'fixed.rows' },
  });

  const chain = chains[widthIndex]!;
  const rows = rowCounts[heightIndex]!;
  return planFor(
    spec,
    size,
    { chain, stitches: stitchesOf(chain, spec), rows },
    {
      width: around(chains, widthIndex).map((each) => {
        const finishedWidthMm = size.widthMm(stitchesOf(each, spec));
        return {
          chain: each,
          stitches: stitchesOf(each, spec),
          repeats: (each - spec.multiple.plus) / spec.multiple.m,
          finishedWidthMm,
          differenceMm: finishedWidthMm.value - spec.target.widthMm,
          chosen: each === chain,
        };
      }),
      height: around(rowCounts, heightIndex).map((each) => {
        const finishedHeightMm = size.heightMm(each);
        return {
          rows: each,
          repeats: (each - spec.rowRepeat.plus) / spec.rowRepeat.m,
          finishedHeightMm,
          differenceMm: finishedHeightMm.value - spec.target.heightMm,
          chosen: each === rows,
        };
      }),
    },
  );
}

interface ChooseCountOptions {
  /** What the maker chose herself, or null. */
  fixed: number | null;
  isLegal: (count: number) => boolean;
  sizeMm: (count: number) => number;
  targetMm: number;
  rounding: ReadyPlanSpec['target']['rounding'];
  fields: { target: string; fixed: string };
}

/** Index of the count to use; a count she chose herself is put in its place among the options. */
function chooseCount(options: number[], choose: ChooseCountOptions): number {
  const { fixed, fields } = choose;
  if (fixed === null) return chooseOption({ ...choose, options, field: fields.target });
  if (!choose.isLegal(fixed)) {
    throw new CalcError(
      'impossible',
      fields.fixed,
      { code: 'refuse.fixed', values: { field: fields.fixed, n: fixed } },
      'a count that the pattern allows',
    );
  }
  // fill the list up to two beyond her choice, which may lie far past the target
  for (
    let count = options[options.length - 1]! + 1;
    options.filter((each) => each > fixed).length < NEIGHBOURS;
    count++
  ) {
    if (count > fixed + 5000) break;
    if (choose.isLegal(count)) options.push(count);
  }
  return options.indexOf(fixed);
}

function planFor(
  spec: ReadyPlanSpec,
  size: SizeModel,
  count: { chain: number; stitches: number; rows: number },
  neighbours: Plan['neighbours'],
): Plan {
  const { chain, stitches, rows } = count;
  const border = planBorder(spec, size, count);
  const finished = { widthMm: size.widthMm(stitches), heightMm: size.heightMm(rows) };
  const yarn = yarnForPiece(spec, { ...count, border });
  const { stitchesPer10cm, rowsPer10cm } = spec.gauge;
  const advice: Advice[] = [];
  if (yarn === null) {
    advice.push(adviceOf('no-yarn-evidence'));
  }
  if (yarn?.perColour.some((each) => !each.evidenceAgrees)) {
    advice.push(adviceOf('yarn-evidence-disagrees'));
  }
  if (border && !border.measured) {
    advice.push(adviceOf('border-not-measured'));
  }
  const plan: Plan = {
    name: spec.name,
    craft: spec.stitch.craft,
    stitch: { key: spec.stitch.key, name: spec.stitch.names[spec.terms] },
    terms: spec.terms,
    units: spec.units,
    gauge: {
      stitchesPer10cm: estimate(stitchesPer10cm.value, stitchesPer10cm.standardUncertainty, 0),
      rowsPer10cm: estimate(rowsPer10cm.value, rowsPer10cm.standardUncertainty, 0),
    },
    target: { widthMm: spec.target.widthMm, heightMm: spec.target.heightMm },
    chain,
    stitches,
    repeats: (chain - spec.multiple.plus) / spec.multiple.m,
    multiple: spec.multiple,
    rows,
    rowRepeats: (rows - spec.rowRepeat.plus) / spec.rowRepeat.m,
    body: { widthMm: size.bodyWidthMm(stitches), heightMm: size.bodyHeightMm(rows) },
    finished,
    neighbours,
    border,
    yarn,
    instructions: [],
    steps: [],
    cautions: cautionsFor({ ...spec.target }),
    advice,
  };
  plan.steps = stepsOf(plan, spec);
  plan.instructions = writePlan(plan);
  return plan;
}

const adviceOf = (code: 'no-yarn-evidence' | 'yarn-evidence-disagrees' | 'border-not-measured'): Advice => ({
  code,
  message: SENTENCES[`advice.${code}`],
});

function planBorder(
  spec: ReadyPlanSpec,
  size: SizeModel,
  { stitches, rows }: { stitches: number; rows: number },
): PlannedBorder | null {
  const counted = countedBorder(spec, size, stitches, rows);
  if (!spec.border || !counted) return null;
  return {
    depthMm: size.borderDepthMm,
    allowanceMm: 2 * size.borderDepthMm.value,
    measured: spec.border.measured !== null,
    ...counted,
    stitchWidthMm: size.borderStitchMm,
  };
}

function around<T>(options: T[], index: number): T[] {
  return options.slice(Math.max(0, index - NEIGHBOURS), index + NEIGHBOURS + 1);
}
