import { checkNumber } from './checkNumber.ts';
import { chainIsLegal, chainOptions, rowOptions, rowsAreLegal } from './countOptions.ts';
import { chooseOption } from './chooseOption.ts';
import { countedBorder } from './countedBorder.ts';
import { formatHook, HOOK_SIZES } from './hookSizes.ts';
import { HOOK_ELASTICITY } from './hookAdvice.ts';
import { planPiece } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { checkProgress, finishedHeightMm, withPieceGauge, type Progress } from './projection.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { remainingYarn } from './remainingYarn.ts';
import { chanceWithGrams } from './runningOut.ts';
import { englishSayer, say, type Said } from './said.ts';
import { sizeModel, stitchesOf, type SizeModel } from './sizeModel.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';
import { yarnPerStitch } from './yarnPerStitch.ts';
import type { BorderYarn } from './yarnForPiece.ts';

export type OptionKind =
  'go-on' | 'other-rows' | 'change-hook' | 'fewer-border-rounds' | 'swap-border-colour' | 'rip-back';

export interface ReviseProgress extends Progress {
  /** Grams at hand by colour id, all skeins together. */
  gramsLeft?: Record<string, number>;
  /** Rows to consider ripping back to; 0 starts again. When left out: 0, and only where that gains something. */
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
  /** Last row less first row; not 0 when the gauge changes on the way. */
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
  /** The row gauge was got from the height done. */
  rowsFromHeight: boolean;
  hookMm: number | null;
  /** Rows kept as worked; the rest is worked after this. */
  keptRows: number;
  /** Linear size of stitches to come ÷ those worked so far. */
  scaleOfRest: Uncertain;
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
  const { spec, rowsFromHeight } = withPieceGauge(
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
    hookMm: null,
    keptRows: rowsDone,
    scaleOfRest: same,
  };
  const drafts: Draft[] = [goOn];
  if (rowsDone < plan.rows) {
    drafts.push(...otherRows(goOn, rowsDone), ...otherHooks(goOn, planned, rowsDone));
  }
  drafts.push(...fewerRounds(goOn), ...otherBorderColours(goOn));
  if (rowsDone > 0) {
    for (const row of new Set(progress.ripBackTo ?? [0])) {
      drafts.push(row === 0 ? startAgain(goOn) : ripTo(goOn, planned, row));
    }
  }
  const weigh: ReviseWeights = { size: 1, yarn: 1, ripping: 1, ...weights };
  const evaluated = drafts.map((draft) => evaluate(draft, progress, weigh));
  // What she asks about is answered; unasked, nobody is told to rip for nothing.
  const options = progress.ripBackTo
    ? evaluated
    : evaluated.filter((option) => option.rippedRows === 0 || isWorthRipping(option, evaluated, spec));
  // equally good ways keep the order above, the least trouble first
  return options
    .map((option, index) => ({ option, index }))
    .sort((a, b) => a.option.cost.total - b.option.cost.total || a.index - b.index)
    .map(({ option }) => option);
}

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
    return [{ ...goOn, kind: 'change-hook', hookMm: mm, scaleOfRest: scale, said }];
  });
}

function fewerRounds(goOn: Draft): Draft[] {
  const { border } = goOn.spec;
  if (!border) return [];
  return [1, 2]
    .map((fewer) => border.rounds - fewer)
    .filter((rounds) => rounds >= 0)
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

function otherBorderColours(goOn: Draft): Draft[] {
  const { border, colours } = goOn.spec;
  if (!border) return [];
  return colours
    .filter((colour) => border.colours.some((id) => id !== colour.id))
    .map((colour) => ({
      ...goOn,
      kind: 'swap-border-colour',
      said: { code: 'finish.borderColour', values: { colour: colour.name } },
      spec: { ...goOn.spec, border: { ...border, colours: border.colours.map(() => colour.id) } },
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
    said: { code: 'finish.startAgain', values: { start, rows } },
  };
}

/** Rips to a row and works on at the gauge that was planned, with the hook that gives it. */
function ripTo(goOn: Draft, planned: ReadyPlanSpec, row: number): Draft {
  const scale = propagate(
    ([piece, wanted]) => piece! / wanted!,
    [goOn.spec.gauge.stitchesPer10cm, { ...planned.gauge.stitchesPer10cm, standardUncertainty: 0 }],
  );
  const hookMm =
    planned.hookMm === null
      ? null
      : Math.round(planned.hookMm * scale.value ** (1 / HOOK_ELASTICITY.value) * 4) / 4;
  const said: Said =
    hookMm === null || hookMm === planned.hookMm
      ? { code: 'finish.ripTo', values: { row } }
      : { code: 'finish.ripToWithHook', values: { row, hook: formatHook(hookMm) } };
  return { ...goOn, kind: 'rip-back', keptRows: row, scaleOfRest: scale, hookMm, said };
}

function evaluate(draft: Draft, progress: ReviseProgress, weights: ReviseWeights): RevisedOption {
  const { spec, chain, rows, keptRows } = draft;
  const { rowsDone } = progress;
  const stitches = stitchesOf(chain, spec);
  const size = sizeModel(spec);
  const { widthMm, heightMm, lastMinusFirstRowMm } = sizeOf(draft, size, stitches, progress);
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
function sizeOf(draft: Draft, size: SizeModel, stitches: number, progress: ReviseProgress) {
  const { spec, rows, keptRows, scaleOfRest } = draft;
  const stitch: Uncertain = spec.gauge.stitchesPer10cm;
  const depth = size.borderDepthMm;
  const left = rows - keptRows;
  const share = left / rows;
  const width = propagate(
    ([gauge, scale, edge]) => ((stitches * 100) / gauge!) * (1 - share + share * scale!) + 2 * edge!,
    [stitch, scaleOfRest, depth],
  );
  const isWhole = keptRows === progress.rowsDone && keptRows > 0;
  const heightMm = finishedHeightMm(spec, {
    rows,
    keptRows,
    keptHeightMm: isWhole ? progress.bodyHeightMm : undefined,
    rowsFromHeight: draft.rowsFromHeight,
    scaleOfRest,
    borderDepthMm: depth,
  });
  const taper = keptRows > 0 && left > 0 ? ((stitches * 100) / stitch.value) * (scaleOfRest.value - 1) : 0;
  return {
    widthMm: estimate(width.value, width.standardUncertainty, 0),
    heightMm,
    lastMinusFirstRowMm: taper,
  };
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
    const found = yarnPerStitch(spec, colour, begun);
    if (!found) return null;
    per[colour.id] = found;
    // yarn in a stitch goes with its linear size (Munden's relations, J. Textile Inst. 50, 1959)
    perToCome[colour.id] = propagate(([grams, scale]) => grams! * scale!, [found, scaleOfRest]);
  }
  const need = remainingYarn(spec, {
    chain,
    stitches,
    rows,
    rowsDone: keptRows,
    border,
    gramsPerStitch: perToCome,
  });
  // what is ripped comes back: all that was worked from the kept row up to now, without a border
  const { rowsDone } = progress;
  const upToNow = { ...begun, rows: rowsDone, border: null, gramsPerStitch: per };
  const back = keptRows < rowsDone ? remainingYarn(spec, { ...upToNow, rowsDone: keptRows }) : {};
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
