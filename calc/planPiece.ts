import { borderModel } from './borderDepth.ts';
import { borderRounds, type BorderCount, type BorderRound, type EdgePickUp } from './borderRounds.ts';
import { cautionsFor, type Advice } from './cautions.ts';
import { chooseOption } from './chooseOption.ts';
import { CalcError } from './errors.ts';
import { layoutMayEndAt } from './layout.ts';
import { isLegalCount, smallestLegalCount } from './legalCounts.ts';
import type { PlanSpec } from './planSpec.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';
import { writePlan } from './writePlan.ts';
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
  cautions: Advice[];
  advice: Advice[];
}

/** How many of the neighbours on each side of the choice are listed. */
const NEIGHBOURS = 2;

/**
 * Everything that follows from a gauge, a stitch and a target size: foundation chain, stitches, rows,
 * border, finished size with its uncertainty, yarn per colour, and the plan in sentences.
 *
 * @param input a plan specification; see `planSpecSchema`.
 * @throws CalcError naming the field at fault.
 * @example
 * const plan = planPiece({
 *   gauge: { stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 }, rowsPer10cm: 9.1 },
 *   stitch: 'hdc',
 *   target: { widthMm: '89 cm', heightMm: '102 cm' },
 * });
 * plan.chain; // 122
 */
export function planPiece(input: PlanSpec): Plan {
  const spec = readPlanSpec(input);
  const size = sizeModel(spec);

  const chains = chainOptions(spec, size);
  const widthIndex = chooseOption({
    options: chains,
    sizeMm: (chain) => size.widthMm(stitchesOf(chain, spec)).value,
    targetMm: spec.target.widthMm,
    rounding: spec.target.rounding,
    field: 'target.widthMm',
  });
  const rowCounts = rowOptions(spec, size);
  const heightIndex = chooseOption({
    options: rowCounts,
    sizeMm: (rows) => size.heightMm(rows).value,
    targetMm: spec.target.heightMm,
    rounding: spec.target.rounding,
    field: 'target.heightMm',
  });

  const chain = chains[widthIndex]!;
  const stitches = stitchesOf(chain, spec);
  const rows = rowCounts[heightIndex]!;
  return planFor(
    spec,
    size,
    { chain, stitches, rows },
    {
      width: around(chains, widthIndex).map((each) => ({
        chain: each,
        stitches: stitchesOf(each, spec),
        repeats: (each - spec.multiple.plus) / spec.multiple.m,
        finishedWidthMm: size.widthMm(stitchesOf(each, spec)),
        differenceMm: size.widthMm(stitchesOf(each, spec)).value - spec.target.widthMm,
        chosen: each === chain,
      })),
      height: around(rowCounts, heightIndex).map((each) => ({
        rows: each,
        repeats: (each - spec.rowRepeat.plus) / spec.rowRepeat.m,
        finishedHeightMm: size.heightMm(each),
        differenceMm: size.heightMm(each).value - spec.target.heightMm,
        chosen: each === rows,
      })),
    },
  );
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
    advice.push({
      code: 'no-yarn-evidence',
      message:
        'Yarn can be worked out once there is a weighed swatch, an unravelled length, the weight used so far, or at least the skein weight and length from the label.',
    });
  }
  if (border && !border.measured) {
    advice.push({
      code: 'border-not-measured',
      message:
        'The depth of the border is taken from what this stitch usually gives. Work the border on the swatch and measure it to narrow the finished size.',
    });
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
    cautions: cautionsFor({ ...spec.target }),
    advice,
  };
  plan.instructions = writePlan(plan, spec);
  return plan;
}

/** Stitches of a row on a foundation chain of this length. */
export function stitchesOf(chain: number, spec: Pick<ReadyPlanSpec, 'stitch'>): number {
  return chain - spec.stitch.chainsSkipped + (spec.stitch.skippedChainsCount ? 1 : 0);
}

export interface SizeModel {
  bodyWidthMm: (stitches: number) => Estimate;
  bodyHeightMm: (rows: number) => Estimate;
  /** With the border. */
  widthMm: (stitches: number) => Estimate;
  heightMm: (rows: number) => Estimate;
  borderDepthMm: Estimate;
  borderStitchMm: Estimate;
  roundDepthMm: (round: number) => number;
}

/** Straightness of a hand-worked edge: half a stitch either way between its two sides, rectangular. */
const EDGE_U_STITCHES = 0.29;

/**
 * Size as a function of the counts, with uncertainty propagated from gauge, first row, edge and border.
 * The border's depth can depend on the gauge, so width and height are propagated as wholes.
 */
export function sizeModel(spec: ReadyPlanSpec): SizeModel {
  const model = spec.border ? borderModel(spec.border, spec.stitch) : null;
  const inputs: Uncertain[] = [
    spec.gauge.stitchesPer10cm,
    spec.gauge.rowsPer10cm,
    spec.practice.firstRowHeightRatio,
    { value: 0, standardUncertainty: EDGE_U_STITCHES },
    ...(model?.inputs ?? []),
  ];
  const stitchMm = (values: number[]): number => 100 / values[0]!;
  const rowMm = (values: number[]): number => 100 / values[1]!;
  const depth = (values: number[]): number => {
    if (!model || !spec.border) return 0;
    let sum = 0;
    for (let round = 1; round <= spec.border.rounds; round++) {
      sum += model.roundDepthMm(round, stitchMm(values), rowMm(values), values.slice(4));
    }
    return sum;
  };
  const bodyWidth = (stitches: number, values: number[]): number =>
    (stitches + values[3]!) * stitchMm(values);
  const bodyHeight = (rows: number, values: number[]): number => (rows - 1 + values[2]!) * rowMm(values);
  const run = (f: (values: number[]) => number): Estimate => {
    const { value, standardUncertainty } = propagate(f, inputs);
    return estimate(value, standardUncertainty, 0);
  };
  const central = inputs.map((each) => each.value);
  return {
    bodyWidthMm: (stitches) => run((values) => bodyWidth(stitches, values)),
    bodyHeightMm: (rows) => run((values) => bodyHeight(rows, values)),
    widthMm: (stitches) => run((values) => bodyWidth(stitches, values) + 2 * depth(values)),
    heightMm: (rows) => run((values) => bodyHeight(rows, values) + 2 * depth(values)),
    borderDepthMm: run(depth),
    borderStitchMm: run((values) =>
      model ? model.stitchMm(stitchMm(values), values.slice(4)) : stitchMm(values),
    ),
    roundDepthMm: (round) =>
      model ? model.roundDepthMm(round, stitchMm(central), rowMm(central), central.slice(4)) : 0,
  };
}

function planBorder(
  spec: ReadyPlanSpec,
  size: SizeModel,
  { stitches, rows }: { stitches: number; rows: number },
): PlannedBorder | null {
  const { border } = spec;
  if (!border) return null;
  const counted: BorderCount = borderRounds({
    stitches,
    rows,
    stitchWidthMm: 100 / spec.gauge.stitchesPer10cm.value,
    rowHeightMm: 100 / spec.gauge.rowsPer10cm.value,
    borderStitchMm: size.borderStitchMm.value,
    rounds: border.rounds,
    cornerStitches: border.cornerStitches,
    multiple: border.multiple,
  });
  return {
    depthMm: size.borderDepthMm,
    allowanceMm: 2 * size.borderDepthMm.value,
    stitchWidthMm: size.borderStitchMm,
    measured: border.measured !== null,
    widthEdge: counted.widthEdge,
    heightEdge: counted.heightEdge,
    rounds: counted.rounds.map((round) => ({
      ...round,
      stitchKey: (round.round === 1 ? border.firstRoundStitch : border.stitch).key,
      colour: border.colours[round.round - 1]!,
      depthMm: size.roundDepthMm(round.round),
    })),
  };
}

/** Legal foundation chains from the smallest to well past the target. */
export function chainOptions(spec: ReadyPlanSpec, size: SizeModel): number[] {
  const start = smallestLegalCount(spec.multiple);
  return legalCounts(
    start,
    (chain) => stitchesOf(chain, spec) >= 1 && isLegalCount(chain, spec.multiple),
    (chain) => size.widthMm(stitchesOf(chain, spec)).value > spec.target.widthMm,
    'multiple',
  );
}

/** Legal row counts from the smallest to well past the target. */
export function rowOptions(spec: ReadyPlanSpec, size: SizeModel): number[] {
  const start = smallestLegalCount(spec.rowRepeat);
  return legalCounts(
    start,
    (rows) => rowsAreLegal(rows, spec),
    (rows) => size.heightMm(rows).value > spec.target.heightMm,
    'rowRepeat',
  );
}

/** Whether the piece may end after `rows` rows: row repeat, right side, stripes. */
export function rowsAreLegal(rows: number, spec: ReadyPlanSpec): boolean {
  if (rows < 1 || !isLegalCount(rows, spec.rowRepeat)) return false;
  if (spec.lastRow !== 'any' && (spec.lastRow === 'right-side') !== (rows % 2 === 1)) return false;
  return layoutMayEndAt(spec.layout, rows);
}

/** Furthest count searched; 10 m at 150 rows per 10 cm. */
const LARGEST_COUNT = 20_000;

function legalCounts(
  start: number,
  legal: (count: number) => boolean,
  isPastTarget: (count: number) => boolean,
  field: string,
): number[] {
  const found: number[] = [];
  let past = 0;
  for (let count = Math.max(1, start); count <= LARGEST_COUNT && past <= NEIGHBOURS; count++) {
    if (!legal(count)) continue;
    found.push(count);
    if (isPastTarget(count)) past++;
  }
  if (found.length === 0) {
    throw new CalcError(
      'impossible',
      field,
      'No count meets the repeat, the parity, the last row and the end of the colour layout all at once.',
      'a repeat, a last row and a layout that agree',
    );
  }
  return found;
}

function around<T>(options: T[], index: number): T[] {
  return options.slice(Math.max(0, index - NEIGHBOURS), index + NEIGHBOURS + 1);
}
