import { checkNumber } from './checkNumber.ts';
import { formatLength } from './formatLength.ts';
import { planPiece } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { EDGE_U_STITCHES, sizeModel, stitchesOf } from './sizeModel.ts';
import { estimate, type Estimate, NONE, type Uncertain } from './uncertain.ts';

/** How far the piece has come, and what was measured on it. What is left out is taken from the plan. */
export interface Progress {
  rowsDone: number;
  stitchesPer10cm?: Uncertain;
  rowsPer10cm?: Uncertain;
  /** Height and width of what is done, without a border, mm. */
  bodyHeightMm?: Uncertain;
  bodyWidthMm?: Uncertain;
  /** By how much these reach beyond the stitches: foundation and loops at both edges together, mm; 0 when left out. */
  yarnBeyondMm?: { width: Uncertain; height: Uncertain };
  /** Rounds of the border that are worked already; 0 when left out. */
  borderRoundsDone?: number;
  /** Relative change of a row's width from each row to the next, where the tension drifts. */
  widthPerRow?: Uncertain;
}

export type Verdict = 'on-target' | 'too-small' | 'too-large' | 'unsure';

export interface Projection {
  rowsDone: number;
  rowsLeft: number;
  /** At the finish, border included. */
  widthMm: Estimate;
  heightMm: Estimate;
  target: { widthMm: number; heightMm: number };
  /** Finished less target. */
  differenceMm: { width: Estimate; height: Estimate };
  verdict: { width: Verdict; height: Verdict };
  rowHeightMm: Estimate;
  stitchWidthMm: Estimate;
  message: string;
}

/** Relative standard uncertainty by which rows yet to be worked differ from those done (from memory). */
export const ROWS_TO_COME_RELATIVE_U = 0.01;

/** Within this share of the target, a size is what was promised. */
const ON_TARGET_SHARE = 0.025;

/**
 * Size at the finish: the height done, plus the rows left at the height rows have had so far, plus the
 * border; the mean width at the piece's own gauge, a drift of the tension going on as it has. With 95 %
 * intervals against the target.
 *
 * @param input the plan, with `fixed` chain and rows as they are being worked.
 * @throws CalcError when more rows are done than the plan has, or a measurement is out of range.
 * @example
 * projectFinish(spec, { rowsDone: 40, bodyHeightMm: { value: 452, standardUncertainty: 3 } }).rowsLeft; // 45
 */
export function projectFinish(input: PlanSpec, progress: Progress): Projection {
  const spec = readPlanSpec(input);
  const plan = planPiece(input);
  checkProgress(progress, plan.rows);
  const { rowsDone } = progress;
  const rowsLeft = plan.rows - rowsDone;
  const { spec: ready, rowsFromHeight, widthIsMeasured } = withPieceGauge(spec, progress);
  const borderDepthMm = depthAtFinish(ready, progress);
  const same: Uncertain = { value: 1, standardUncertainty: 0 };

  const stitchWidthMm = inverseOf(ready.gauge.stitchesPer10cm);
  const rowHeightMm = inverseOf(ready.gauge.rowsPer10cm);

  const { widthMm } = finishedWidthMm(ready, {
    stitches: plan.stitches,
    rows: plan.rows,
    keptRows: rowsDone,
    rowsDone,
    widthIsMeasured,
    scaleOfRest: same,
    driftGoesOn: true,
    widthPerRow: progress.widthPerRow,
    borderDepthMm,
    yarnBeyondMm: progress.yarnBeyondMm?.width,
  });
  const heightMm = finishedHeightMm(ready, {
    rows: plan.rows,
    keptRows: rowsDone,
    keptHeightMm: rowsDone > 0 ? progress.bodyHeightMm : undefined,
    rowsFromHeight,
    scaleOfRest: same,
    borderDepthMm,
    yarnBeyondMm: progress.yarnBeyondMm?.height,
  });
  const { target } = plan;
  const verdict = {
    width: verdictOf(widthMm, target.widthMm),
    height: verdictOf(heightMm, target.heightMm),
  };
  return {
    rowsDone,
    rowsLeft,
    widthMm,
    heightMm,
    target,
    differenceMm: {
      width: estimate(widthMm.value - target.widthMm, widthMm.standardUncertainty),
      height: estimate(heightMm.value - target.heightMm, heightMm.standardUncertainty),
    },
    verdict,
    rowHeightMm: estimate(rowHeightMm.value, rowHeightMm.standardUncertainty, 0),
    stitchWidthMm: estimate(stitchWidthMm.value, stitchWidthMm.standardUncertainty, 0),
    message:
      `With ${rowsLeft} rows to go it ends about ${formatLength(widthMm.value, plan.units)} wide and ` +
      `${formatLength(heightMm.value, plan.units)} high: width ${WORDS[verdict.width]}, height ${WORDS[verdict.height]}.`,
  };
}

const WORDS: Record<Verdict, string> = {
  'on-target': 'as promised',
  'too-small': 'too small',
  'too-large': 'too large',
  unsure: 'not yet certain',
};

export function checkProgress(progress: Progress, rows: number): void {
  checkNumber('rowsDone', progress.rowsDone, { min: 0, max: rows, whole: true });
  const limits = {
    stitchesPer10cm: { min: 0.5, max: 150 },
    rowsPer10cm: { min: 0.5, max: 150 },
    bodyHeightMm: { min: 1, max: 10_000, unit: 'mm' },
    bodyWidthMm: { min: 1, max: 10_000, unit: 'mm' },
  } as const;
  for (const [field, limit] of Object.entries(limits) as [
    keyof typeof limits,
    { min: number; max: number },
  ][]) {
    const sent = progress[field];
    if (!sent) continue;
    checkNumber(`${field}.value`, sent.value, limit);
    checkNumber(`${field}.standardUncertainty`, sent.standardUncertainty, { min: 0, max: sent.value });
  }
}

/**
 * The plan's gauge replaced by the piece's own, where it was measured. Row height comes from the row
 * gauge or from the height done over the rows done, and stitch width from the stitch gauge or from the
 * width of a row, whichever is surer: both may rest on one photo, so they are not combined.
 */
export function withPieceGauge(
  spec: ReadyPlanSpec,
  progress: Progress,
): { spec: ReadyPlanSpec; rowsFromHeight: boolean; widthIsMeasured: boolean } {
  const { rowsDone, bodyHeightMm, bodyWidthMm } = progress;
  const fromHeight =
    bodyHeightMm && rowsDone >= 4
      ? propagate(
          ([height, ratio, beyond]) => (100 * (rowsDone - 1 + ratio!)) / (height! - beyond!),
          [bodyHeightMm, spec.practice.firstRowHeightRatio, progress.yarnBeyondMm?.height ?? NONE],
        )
      : null;
  const relative = (each: Uncertain): number => each.standardUncertainty / each.value;
  const direct = progress.rowsPer10cm ?? null;
  const rowsFromHeight = fromHeight !== null && (direct === null || relative(fromHeight) < relative(direct));
  const counted = progress.stitchesPer10cm ?? null;
  const { chain } = spec.fixed;
  const fromWidth =
    bodyWidthMm && chain !== null
      ? propagate(
          ([width, beyond]) => (100 * stitchesOf(chain, spec)) / (width! - beyond!),
          [bodyWidthMm, progress.yarnBeyondMm?.width ?? NONE],
        )
      : null;
  const widthIsMeasured = fromWidth !== null && (counted === null || relative(fromWidth) < relative(counted));
  return {
    rowsFromHeight,
    widthIsMeasured,
    spec: {
      ...spec,
      gauge: {
        stitchesPer10cm: (widthIsMeasured ? fromWidth : counted) ?? spec.gauge.stitchesPer10cm,
        rowsPer10cm: (rowsFromHeight ? fromHeight : direct) ?? spec.gauge.rowsPer10cm,
      },
    },
  };
}

/** Depth of the finished border; what of it is worked was in the picture, and what is not is uncertain. */
export function depthAtFinish(spec: ReadyPlanSpec, progress: Progress): Uncertain {
  const { value, standardUncertainty } = sizeModel(spec).borderDepthMm;
  const rounds = spec.border?.rounds ?? 0;
  const left = rounds > 0 ? Math.max(0, rounds - (progress.borderRoundsDone ?? 0)) / rounds : 0;
  const wasSeen = progress.bodyWidthMm !== undefined || progress.bodyHeightMm !== undefined;
  return { value, standardUncertainty: standardUncertainty * (wasSeen ? left : 1) };
}

export interface FinishedWidthOptions {
  /** Of a row. */
  stitches: number;
  /** Rows of the finished body, those of them that are worked and kept, and those worked so far. */
  rows: number;
  keptRows: number;
  rowsDone: number;
  /** The gauge was got from the width of the piece. */
  widthIsMeasured: boolean;
  /** Linear size of stitches to come ÷ the mean of those done. */
  scaleOfRest: Uncertain;
  /** Whether the rows to come go on drifting, or keep one width. */
  driftGoesOn: boolean;
  widthPerRow: Uncertain | undefined;
  borderDepthMm: Uncertain;
  /** Of the width as it was measured: the finished one reaches beyond its stitches alike. */
  yarnBeyondMm?: Uncertain | undefined;
}

/** Mean width at the finish, the border twice included, and what the last row is wider than the first, mm. */
export function finishedWidthMm(
  spec: ReadyPlanSpec,
  options: FinishedWidthOptions,
): { widthMm: Estimate; lastMinusFirstRowMm: number } {
  const { stitches, rows, keptRows, rowsDone, driftGoesOn } = options;
  const edge: Uncertain = { value: 0, standardUncertainty: options.widthIsMeasured ? 0 : EDGE_U_STITCHES };
  const inputs: Uncertain[] = [
    spec.gauge.stitchesPer10cm,
    edge,
    options.scaleOfRest,
    options.widthPerRow ?? NONE,
    options.borderDepthMm,
  ];
  // The gauge is that of the middle of what is done.
  const middle = (1 + rowsDone) / 2;
  const left = rows - keptRows;
  const parts = ([gauge, off, scale, perRow]: number[]) => {
    const rowMm = ((stitches + off!) * 100) / gauge!;
    const at = (row: number): number => rowMm * (1 + perRow! * (row - middle));
    const toCome = (row: number): number => scale! * (driftGoesOn ? at(row) : rowMm);
    const kept = keptRows > 0 ? at((1 + keptRows) / 2) : 0;
    const rest = left > 0 ? toCome((keptRows + 1 + rows) / 2) : 0;
    return {
      mean: (keptRows * kept + left * rest) / rows,
      taper: (left > 0 ? toCome(rows) : at(rows)) - (keptRows > 0 ? at(1) : toCome(1)),
    };
  };
  // An error of the yarn beyond cancels here: what it adds, the gauge has taken off.
  const beyondMm = options.yarnBeyondMm?.value ?? 0;
  const width = propagate((values) => parts(values).mean + 2 * values[4]! + beyondMm, inputs);
  return {
    widthMm: estimate(width.value, width.standardUncertainty, 0),
    lastMinusFirstRowMm: parts(inputs.map((each) => each.value)).taper,
  };
}

export interface FinishedHeightOptions {
  /** Rows of the finished body, and those of them that are worked and kept. */
  rows: number;
  keptRows: number;
  /** Measured height of the kept rows, if it was measured. */
  keptHeightMm?: Uncertain;
  /** The row gauge was got from that height, so both share one error. */
  rowsFromHeight: boolean;
  /** Linear size of stitches to come ÷ those kept. */
  scaleOfRest: Uncertain;
  borderDepthMm: Uncertain;
  /** Of the height as it was measured: the finished one reaches beyond its rows alike. */
  yarnBeyondMm?: Uncertain | undefined;
}

/** Height at the finish: the rows kept, the rows to come, and the border twice. */
export function finishedHeightMm(spec: ReadyPlanSpec, options: FinishedHeightOptions): Estimate {
  const { rows, keptRows, keptHeightMm: kept, scaleOfRest, borderDepthMm } = options;
  const left = rows - keptRows;
  const toCome: Uncertain = { value: 1, standardUncertainty: ROWS_TO_COME_RELATIVE_U };
  const beyondMm = options.yarnBeyondMm ?? NONE;
  const shared: Uncertain[] = [
    spec.practice.firstRowHeightRatio,
    toCome,
    scaleOfRest,
    borderDepthMm,
    beyondMm,
  ];
  const body = (ratio: number, rest: number, rowMm: number, keptMm: number): number =>
    keptMm + (keptRows > 0 ? 0 : (ratio - 1) * rowMm) + left * rowMm * rest;
  const height =
    kept && options.rowsFromHeight
      ? propagate(
          ([ratio, factor, scale, edge, beyond, keptMm]) =>
            body(ratio!, factor! * scale!, (keptMm! - beyond!) / (keptRows - 1 + ratio!), keptMm!) +
            2 * edge!,
          [...shared, kept],
        )
      : propagate(
          ([ratio, factor, scale, edge, beyond, gauge, keptMm]) => {
            const rowMm = 100 / gauge!;
            const worked = keptRows > 0 ? (keptRows - 1 + ratio!) * rowMm : 0;
            return body(ratio!, factor! * scale!, rowMm, kept ? keptMm! : worked + beyond!) + 2 * edge!;
          },
          [...shared, spec.gauge.rowsPer10cm, kept ?? NONE],
        );
  return estimate(height.value, height.standardUncertainty, 0);
}

function inverseOf({ value, standardUncertainty }: Uncertain): Uncertain {
  return { value: 100 / value, standardUncertainty: (100 / value) * (standardUncertainty / value) };
}

function verdictOf(size: Estimate, target: number): Verdict {
  const slack = ON_TARGET_SHARE * target;
  if (size.low95 >= target - slack && size.high95 <= target + slack) return 'on-target';
  if (size.high95 < target) return 'too-small';
  if (size.low95 > target) return 'too-large';
  return 'unsure';
}
