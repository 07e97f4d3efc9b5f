import { checkNumber } from './checkNumber.ts';
import { chainIsLegal, chainOptions, rowOptions, rowsAreLegal } from './countOptions.ts';
import { chooseOption } from './chooseOption.ts';
import type { BorderYarn } from './borderEquivalents.ts';
import { countedBorder } from './countedBorder.ts';
import { formatHook, HOOK_SIZES } from './hookSizes.ts';
import { HOOK_ELASTICITY } from './hookAdvice.ts';
import { planPiece } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import {
  checkProgress,
  depthAtFinish,
  finishedHeightMm,
  finishedWidthMm,
  withPieceGauge,
  type Progress,
} from './projection.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { remainingYarn } from './remainingYarn.ts';
import { chanceWithGrams } from './runningOut.ts';
import { englishSayer, say, type Said } from './said.ts';
import { sizeModel, stitchesOf } from './sizeModel.ts';
import type { Estimate, Uncertain } from './uncertain.ts';
import { borderWorked, yarnPerStitch } from './yarnPerStitch.ts';

export type OptionKind =
  'go-on' | 'other-rows' | 'change-hook' | 'fewer-border-rounds' | 'swap-border-colour' | 'rip-back';

export interface ReviseProgress extends Progress {
  /** Grams at hand by colour id, all skeins together. */
  gramsLeft?: Record<string, number>;
  /** Grams in one stitch by colour id, where more is known than the plan's evidence. */
  gramsPerStitch?: Record<string, Uncertain>;
  /**
   * Rows to consider ripping back to; 0 starts again. When left out: 0 and, where the tension drifts, the last row
   * of the planned width, and only where that gains something.
   */
  ripBackTo?: number[];
}

export interface ReviseWeights {
  /** Per percent off the target, width and height added. */
  size: number;
  /** For a certainty of running out, 10 × this; for a chance, in proportion. */
  yarn: number;
  /** For ripping all that is done, 10 × this; in proportion for less. */
  ripping: number;
}

export interface RevisedColour {
  colour: string;
  /** Still to be worked, after any ripping. */
  gramsNeeded: Estimate;
  /** At hand, yarn ripped back included; null when nothing was weighed. */
  gramsAvailable: number | null;
  chanceOfRunningOut: number | null;
}

export interface RevisedOption {
  kind: OptionKind;
  description: string;
  /** The description as code and values. */
  said: Said;
  chain: number;
  stitches: number;
  rows: number;
  borderRounds: number;
  borderColours: string[];
  /** Hook for the rows to come; null when it stays. */
  hookMm: number | null;
  ripBackTo: number | null;
  rippedRows: number;
  rippedStitches: number;
  widthMm: Estimate;
  heightMm: Estimate;
  /** Last row less first row; not 0 when the gauge changes on the way or drifts. */
  lastMinusFirstRowMm: number;
  yarn: RevisedColour[] | null;
  /** Of the colour that is most at risk; null when nothing was weighed. */
  chanceOfRunningOut: number | null;
  /** What it costs by what matters to her; the list is sorted by their sum. */
  cost: { size: number; yarn: number; ripping: number; total: number };
}

interface Draft {
  kind: OptionKind;
  said: Said;
  spec: ReadyPlanSpec;
  chain: number;
  rows: number;
  /** Chain of what is worked so far. */
  workedChain: number;
  /** The gauge was got from the size of what is done. */
  rowsFromHeight: boolean;
  widthIsMeasured: boolean;
  /** Whether a drift goes on in the rows to come. */
  driftGoesOn: boolean;
  hookMm: number | null;
  /** Rows kept as worked; the rest is worked after this. */
  keptRows: number;
  /** Width of stitches to come, and height of rows to come, ÷ those worked so far. */
  scaleOfRest: Uncertain;
  rowScaleOfRest: Uncertain;
}

/**
 * The ways to finish a piece from where it is, each with its size, its yarn per colour, the chance of
 * running out and what must be ripped back, ranked by what matters to her. Stitches to come are taken
 * at the piece's own gauge, not the swatch's.
 *
 * @param input the plan, with `fixed` chain and rows as they are being worked.
 * @throws CalcError when more rows are done than the plan has, or a row to rip to is not below the work.
 * @example
 * reviseOptions(spec, { rowsDone: 40, rowsPer10cm: { value: 8.6, standardUncertainty: 0.05 } })[0]!.kind; // 'fewer-border-rounds'
 */
export function reviseOptions(
  input: PlanSpec,
  progress: ReviseProgress,
  weights: Partial<ReviseWeights> = {},
): RevisedOption[] {
  const planned = readPlanSpec(input);
  const plan = planPiece(input);
  checkProgress(progress, plan.rows);
  for (const [index, row] of (progress.ripBackTo ?? []).entries()) {
    checkNumber(`ripBackTo.${index}`, row, { min: 0, max: Math.max(0, progress.rowsDone - 1), whole: true });
  }
  const { rowsDone } = progress;
  const { spec, rowsFromHeight, widthIsMeasured } = withPieceGauge(
    { ...planned, fixed: { chain: plan.chain, rows: plan.rows } },
    progress,
  );
  const same: Uncertain = { value: 1, standardUncertainty: 0 };
  const goOn: Draft = {
    kind: 'go-on',
    said: { code: 'finish.goOn', values: { n: plan.rows } },
    spec,
    chain: plan.chain,
    rows: plan.rows,
    workedChain: plan.chain,
    rowsFromHeight,
    widthIsMeasured,
    driftGoesOn: true,
    hookMm: null,
    keptRows: rowsDone,
    scaleOfRest: same,
    rowScaleOfRest: same,
  };
  const drafts: Draft[] = [goOn];
  if (rowsDone < plan.rows) {
    drafts.push(...otherRows(goOn, rowsDone), ...otherHooks(goOn, planned, rowsDone));
  }
  const roundsDone = progress.borderRoundsDone ?? 0;
  drafts.push(...fewerRounds(goOn, roundsDone), ...otherBorderColours(goOn, roundsDone));
  if (rowsDone > 0) {
    for (const row of new Set(progress.ripBackTo ?? [...lastGoodRow(goOn, planned, progress), 0])) {
      drafts.push(row === 0 ? startAgain(goOn) : ripTo(goOn, planned, row, progress));
    }
  }
  const weigh: ReviseWeights = { size: 1, yarn: 1, ripping: 1, ...weights };
  const evaluated = drafts.map((draft) => evaluate(draft, progress, weigh));
  // What she asks about is answered; unasked, nobody is told to rip for nothing.
  const options = progress.ripBackTo
    ? evaluated
    : evaluated.filter((option) => option.rippedRows === 0 || isWorthRipping(option, evaluated, spec));
  // equally good ways keep the order above, the least trouble first
  const ranked = options
    .map((option, index) => ({ option, index }))
    .sort((a, b) => a.option.cost.total - b.option.cost.total || a.index - b.index)
    .map(({ option }) => option);
  // and nobody is told to change anything for next to nothing
  const goingOn = ranked.findIndex(({ kind }) => kind === 'go-on');
  if (goingOn > 0 && ranked[goingOn]!.cost.total - ranked[0]!.cost.total < SAME_COST) {
    ranked.unshift(...ranked.splice(goingOn, 1));
  }
  return ranked;
}

/** Costs closer together than this are alike: one per cent of size, 10 % of a chance of running out. */
const SAME_COST = 1;

/** Closer to the target than another way by less than this is no gain, % of width and height added (a row or so). */
const LEAST_GAIN = 1;
/** Chances of running out closer together than this are the same to a maker. */
const SAME_CHANCE = 0.01;

/**
 * Whether ripping leads anywhere: to other counts than those on the hook, and clearly closer to the size than every
 * way that rips less and is as safe in its yarn.
 */
function isWorthRipping(option: RevisedOption, all: readonly RevisedOption[], spec: ReadyPlanSpec): boolean {
  const goOn = all.find(({ kind }) => kind === 'go-on')!;
  if (option.ripBackTo === 0 && option.chain === goOn.chain && option.rows === goOn.rows) return false;
  return !all.some(
    (other) =>
      other.rippedRows < option.rippedRows &&
      offTarget(other, spec) < offTarget(option, spec) + LEAST_GAIN &&
      (other.chanceOfRunningOut ?? 0) < (option.chanceOfRunningOut ?? 0) + SAME_CHANCE,
  );
}

/** How far a way ends from what was promised, % of width and height added; half the taper counts as width. */
function offTarget(
  {
    widthMm,
    heightMm,
    lastMinusFirstRowMm,
  }: Pick<RevisedOption, 'widthMm' | 'heightMm' | 'lastMinusFirstRowMm'>,
  { target }: ReadyPlanSpec,
): number {
  const width = Math.abs(widthMm.value / target.widthMm - 1);
  const height = Math.abs(heightMm.value / target.heightMm - 1);
  return 100 * (width + height + Math.abs(lastMinusFirstRowMm) / target.widthMm / 2);
}

/** The two row counts, other than the planned one, that end closest to the target at this row height. */
function otherRows(goOn: Draft, rowsDone: number): Draft[] {
  const size = sizeModel(goOn.spec);
  const off = (rows: number): number => Math.abs(size.expectedHeightMm(rows) - goOn.spec.target.heightMm);
  return rowOptions(goOn.spec, size)
    .filter((rows) => rows >= rowsDone && rows !== goOn.rows)
    .sort((a, b) => off(a) - off(b) || a - b)
    .slice(0, 2)
    .map((rows) => {
      const more = rows - goOn.rows;
      return {
        ...goOn,
        kind: 'other-rows',
        rows,
        said: {
          code: more > 0 ? 'finish.moreRows' : 'finish.fewerRows',
          values: { n: Math.abs(more), rows },
        },
      };
    });
}

/** The hooks next to hers, thinner and thicker, for the rows to come. */
function otherHooks(goOn: Draft, planned: ReadyPlanSpec, rowsDone: number): Draft[] {
  const hook = planned.hookMm;
  if (hook === null || rowsDone === 0) return [];
  const sizes = HOOK_SIZES.map((size) => size.mm).filter((mm) => Math.abs(mm - hook) >= 0.45);
  const thinner = sizes.filter((mm) => mm < hook).at(-1);
  const thicker = sizes.find((mm) => mm > hook);
  return [thinner, thicker].flatMap((mm): Draft[] => {
    if (mm === undefined) return [];
    const scale = propagate(([power]) => (mm / hook) ** power!, [HOOK_ELASTICITY]);
    const said: Said = { code: 'finish.hook', values: { hook: formatHook(mm) } };
    return [{ ...goOn, kind: 'change-hook', hookMm: mm, scaleOfRest: scale, rowScaleOfRest: scale, said }];
  });
}

function fewerRounds(goOn: Draft, roundsDone: number): Draft[] {
  const { border } = goOn.spec;
  if (!border) return [];
  return [1, 2]
    .map((fewer) => border.rounds - fewer)
    .filter((rounds) => rounds >= roundsDone)
    .map((rounds): Draft => ({
      ...goOn,
      kind: 'fewer-border-rounds',
      said:
        rounds === 0
          ? { code: 'finish.noBorder', values: {} }
          : { code: 'finish.rounds', values: { n: rounds, of: border.rounds } },
      spec: {
        ...goOn.spec,
        border: rounds === 0 ? null : { ...border, rounds, colours: border.colours.slice(0, rounds) },
      },
    }));
}

function otherBorderColours(goOn: Draft, roundsDone: number): Draft[] {
  const { border, colours } = goOn.spec;
  if (!border) return [];
  return colours
    .filter((colour) => border.colours.slice(roundsDone).some((id) => id !== colour.id))
    .map((colour) => ({
      ...goOn,
      kind: 'swap-border-colour',
      said: {
        code: roundsDone > 0 ? 'finish.restOfBorderColour' : 'finish.borderColour',
        values: { colour: colour.name },
      },
      spec: {
        ...goOn.spec,
        border: {
          ...border,
          colours: border.colours.map((id, round) => (round < roundsDone ? id : colour.id)),
        },
      },
    }));
}

/** Everything anew at the piece's own gauge: the chain and the rows that fit the target. */
function startAgain(goOn: Draft): Draft {
  const spec: ReadyPlanSpec = { ...goOn.spec, fixed: { chain: null, rows: null } };
  const size = sizeModel(spec);
  const chains = chainOptions(spec, size).filter((chain) => chainIsLegal(chain, spec));
  const counts = rowOptions(spec, size).filter((rows) => rowsAreLegal(rows, spec));
  const { rounding, widthMm, heightMm } = spec.target;
  const chain =
    chains[
      chooseOption({
        options: chains,
        sizeMm: (each) => size.expectedWidthMm(stitchesOf(each, spec)),
        targetMm: widthMm,
        rounding,
        field: 'target.widthMm',
      })
    ]!;
  const rows =
    counts[
      chooseOption({
        options: counts,
        sizeMm: size.expectedHeightMm,
        targetMm: heightMm,
        rounding,
        field: 'target.heightMm',
      })
    ]!;
  const start: Said = {
    code: spec.stitch.craft === 'crochet' ? 'finish.chain' : 'finish.castOn',
    values: { n: chain },
  };
  return {
    ...goOn,
    kind: 'rip-back',
    spec,
    chain,
    rows,
    keptRows: 0,
    driftGoesOn: false,
    said: { code: 'finish.startAgain', values: { start, rows } },
  };
}

/** Rips to a row and works on at the gauge that was planned, with the hook that gives it. */
function ripTo(goOn: Draft, planned: ReadyPlanSpec, row: number, progress: Progress): Draft {
  const toPlanned = (axis: keyof ReadyPlanSpec['gauge']): Uncertain =>
    propagate(([piece]) => piece! / planned.gauge[axis].value, [goOn.spec.gauge[axis]]);
  const scale = toPlanned('stitchesPer10cm');
  // The hook in her hand gives today's stitches, which where the tension drifts are not the mean of all.
  const { rowsDone, widthPerRow } = progress;
  const fromToday = scale.value / (1 + (widthPerRow?.value ?? 0) * (rowsDone - (1 + rowsDone) / 2));
  const hookMm =
    planned.hookMm === null
      ? null
      : Math.round(planned.hookMm * fromToday ** (1 / HOOK_ELASTICITY.value) * 4) / 4;
  const said: Said =
    hookMm === null || hookMm === planned.hookMm
      ? { code: 'finish.ripTo', values: { row } }
      : { code: 'finish.ripToWithHook', values: { row, hook: formatHook(hookMm) } };
  return {
    ...goOn,
    kind: 'rip-back',
    keptRows: row,
    scaleOfRest: scale,
    rowScaleOfRest: toPlanned('rowsPer10cm'),
    driftGoesOn: false,
    hookMm,
    said,
  };
}

/** A row wider or narrower than planned by less than this share is as planned. */
const PLANNED_WIDTH_SHARE = 0.01;

/** Where the tension drifts: the last row that still had the planned width, if that is well below the work. */
function lastGoodRow(goOn: Draft, planned: ReadyPlanSpec, progress: Progress): number[] {
  const { rowsDone, widthPerRow } = progress;
  if (!widthPerRow) return [];
  const mean = planned.gauge.stitchesPer10cm.value / goOn.spec.gauge.stitchesPer10cm.value;
  for (let row = rowsDone - 1; row >= 1; row--) {
    const width = mean * (1 + widthPerRow.value * (row - (1 + rowsDone) / 2));
    if (Math.abs(width - 1) <= PLANNED_WIDTH_SHARE) return row < 0.95 * rowsDone ? [row] : [];
  }
  return [];
}

function evaluate(draft: Draft, progress: ReviseProgress, weights: ReviseWeights): RevisedOption {
  const { spec, chain, rows, keptRows } = draft;
  const { rowsDone } = progress;
  const stitches = stitchesOf(chain, spec);
  const size = sizeModel(spec);
  const { widthMm, heightMm, lastMinusFirstRowMm } = sizeOf(draft, stitches, progress);
  const rippedRows = rowsDone - keptRows;
  const border = countedBorder(spec, size, stitches, rows);
  const yarn = yarnOf(draft, border, stitches, progress);
  const chances = (yarn ?? []).flatMap((each) =>
    each.chanceOfRunningOut === null ? [] : [each.chanceOfRunningOut],
  );
  const chanceOfRunningOut = chances.length > 0 ? Math.max(...chances) : null;
  const cost = {
    size: weights.size * offTarget({ widthMm, heightMm, lastMinusFirstRowMm }, spec),
    yarn: weights.yarn * 10 * (chanceOfRunningOut ?? 0),
    ripping: weights.ripping * 10 * (rowsDone > 0 ? rippedRows / rowsDone : 0),
  };
  return {
    kind: draft.kind,
    description: say(draft.said, englishSayer(spec.units)),
    said: draft.said,
    chain,
    stitches,
    rows,
    borderRounds: spec.border?.rounds ?? 0,
    borderColours: [...new Set(spec.border?.colours ?? [])],
    hookMm: draft.hookMm,
    ripBackTo: draft.kind === 'rip-back' ? keptRows : null,
    rippedRows,
    rippedStitches: rippedRows * stitchesOf(draft.workedChain, spec),
    widthMm,
    heightMm,
    lastMinusFirstRowMm,
    yarn,
    chanceOfRunningOut,
    cost: { ...cost, total: cost.size + cost.yarn + cost.ripping },
  };
}

/** Finished size of a piece whose last rows may have another gauge than its first; width is the mean. */
function sizeOf(draft: Draft, stitches: number, progress: ReviseProgress) {
  const { spec, rows, keptRows, scaleOfRest, rowScaleOfRest, driftGoesOn, widthIsMeasured } = draft;
  const { rowsDone, widthPerRow } = progress;
  const borderDepthMm = depthAtFinish(
    spec,
    keptRows < rowsDone ? { ...progress, borderRoundsDone: 0 } : progress,
  );
  const width = finishedWidthMm(spec, {
    stitches,
    rows,
    keptRows,
    rowsDone,
    widthIsMeasured,
    scaleOfRest,
    driftGoesOn,
    widthPerRow,
    borderDepthMm,
    yarnBeyondMm: progress.yarnBeyondMm?.width,
  });
  const isWhole = keptRows === progress.rowsDone && keptRows > 0;
  const heightMm = finishedHeightMm(spec, {
    rows,
    keptRows,
    keptHeightMm: isWhole ? progress.bodyHeightMm : undefined,
    rowsFromHeight: draft.rowsFromHeight,
    scaleOfRest: rowScaleOfRest,
    borderDepthMm,
    yarnBeyondMm: progress.yarnBeyondMm?.height,
  });
  return { ...width, heightMm };
}

function yarnOf(
  draft: Draft,
  border: BorderYarn | null,
  stitches: number,
  progress: ReviseProgress,
): RevisedColour[] | null {
  const { spec, chain, rows, workedChain, keptRows, scaleOfRest } = draft;
  const begun = { chain: workedChain, stitches: stitchesOf(workedChain, spec) };
  const per: Record<string, Uncertain> = {};
  const perToCome: Record<string, Uncertain> = {};
  for (const colour of spec.colours) {
    const found = progress.gramsPerStitch?.[colour.id] ?? yarnPerStitch(spec, colour, begun);
    if (!found) return null;
    per[colour.id] = found;
    // yarn in a stitch goes with its linear size (Munden's relations, J. Textile Inst. 50, 1959)
    perToCome[colour.id] = propagate(([grams, scale]) => grams! * scale!, [found, scaleOfRest]);
  }
  const { rowsDone, borderRoundsDone = 0 } = progress;
  const isRipped = keptRows < rowsDone;
  const need = remainingYarn(spec, {
    chain,
    stitches,
    rows,
    rowsDone: keptRows,
    border: border && (isRipped ? border : { ...border, rounds: border.rounds.slice(borderRoundsDone) }),
    gramsPerStitch: perToCome,
  });
  // what is ripped comes back: the border, and all that was worked from the kept row up to now
  const upToNow = {
    ...begun,
    rows: rowsDone,
    border: borderWorked(spec, borderRoundsDone, begun.stitches, rowsDone),
    gramsPerStitch: per,
    boundOff: borderRoundsDone > 0,
  };
  const back = isRipped ? remainingYarn(spec, { ...upToNow, rowsDone: keptRows }) : {};
  return spec.colours.map((colour) => {
    const gramsNeeded = need[colour.id]!;
    const atHand = progress.gramsLeft?.[colour.id];
    const gramsAvailable = atHand === undefined ? null : atHand + (back[colour.id]?.value ?? 0);
    return {
      colour: colour.id,
      gramsNeeded,
      gramsAvailable,
      chanceOfRunningOut: gramsAvailable === null ? null : chanceWithGrams(gramsNeeded, gramsAvailable),
    };
  });
}
