import { checkNumber } from './checkNumber.ts';
import { formatLength } from './formatLength.ts';
import { planPiece } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { sizeModel } from './sizeModel.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

/** How far the piece has come, and what was measured on it. What is left out is taken from the plan. */
export interface Progress {
  rowsDone: number;
  stitchesPer10cm?: Uncertain;
  rowsPer10cm?: Uncertain;
  /** Height and width of what is done, without a border, mm. */
  bodyHeightMm?: Uncertain;
  bodyWidthMm?: Uncertain;
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
 * border; the width at the piece's own gauge. With 95 % intervals against the target.
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
  const { spec: ready, rowsFromHeight } = withPieceGauge(spec, progress);
  const size = sizeModel(ready);

  const stitchWidthMm = inverseOf(ready.gauge.stitchesPer10cm);
  const rowHeightMm = inverseOf(ready.gauge.rowsPer10cm);
  const twice = size.borderDepthMm;

  const width = progress.bodyWidthMm
    ? propagate(([body, depth]) => body! + 2 * depth!, [progress.bodyWidthMm, twice])
    : size.widthMm(plan.stitches);
  const widthMm = estimate(width.value, width.standardUncertainty, 0);
  const heightMm = finishedHeightMm(ready, {
    rows: plan.rows,
    keptRows: rowsDone,
    keptHeightMm: rowsDone > 0 ? progress.bodyHeightMm : undefined,
    rowsFromHeight,
    scaleOfRest: { value: 1, standardUncertainty: 0 },
    borderDepthMm: size.borderDepthMm,
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
 * gauge or from the height done over the rows done, whichever is surer: both may rest on one photo, so
 * they are not combined.
 */
export function withPieceGauge(
  spec: ReadyPlanSpec,
  progress: Progress,
): { spec: ReadyPlanSpec; rowsFromHeight: boolean } {
  const { rowsDone, bodyHeightMm, bodyWidthMm } = progress;
  const fromHeight =
    bodyHeightMm && rowsDone >= 4
      ? propagate(
          ([height, ratio]) => (100 * (rowsDone - 1 + ratio!)) / height!,
          [bodyHeightMm, spec.practice.firstRowHeightRatio],
        )
      : null;
  const relative = (each: Uncertain): number => each.standardUncertainty / each.value;
  const direct = progress.rowsPer10cm ?? null;
  const rowsFromHeight = fromHeight !== null && (direct === null || relative(fromHeight) < relative(direct));
  let stitches = progress.stitchesPer10cm;
  if (!stitches && bodyWidthMm && spec.fixed.chain !== null) {
    const count = spec.fixed.chain - spec.stitch.chainsSkipped + (spec.stitch.skippedChainsCount ? 1 : 0);
    stitches = propagate(([width]) => (100 * count) / width!, [bodyWidthMm]);
  }
  return {
    rowsFromHeight,
    spec: {
      ...spec,
      gauge: {
        stitchesPer10cm: stitches ?? spec.gauge.stitchesPer10cm,
        rowsPer10cm: (rowsFromHeight ? fromHeight : direct) ?? spec.gauge.rowsPer10cm,
      },
    },
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
}

/** Height at the finish: the rows kept, the rows to come, and the border twice. */
export function finishedHeightMm(spec: ReadyPlanSpec, options: FinishedHeightOptions): Estimate {
  const { rows, keptRows, keptHeightMm: kept, scaleOfRest, borderDepthMm } = options;
  const left = rows - keptRows;
  const toCome: Uncertain = { value: 1, standardUncertainty: ROWS_TO_COME_RELATIVE_U };
  const shared: Uncertain[] = [spec.practice.firstRowHeightRatio, toCome, scaleOfRest, borderDepthMm];
  const body = (ratio: number, rest: number, rowMm: number, keptMm: number | null): number =>
    (keptMm ?? (keptRows > 0 ? keptRows - 1 + ratio : ratio - 1) * rowMm) + left * rowMm * rest;
  const height =
    kept && options.rowsFromHeight
      ? propagate(
          ([ratio, factor, scale, edge, keptMm]) =>
            body(ratio!, factor! * scale!, keptMm! / (keptRows - 1 + ratio!), keptMm!) + 2 * edge!,
          [...shared, kept],
        )
      : propagate(
          ([ratio, factor, scale, edge, gauge, keptMm]) =>
            body(ratio!, factor! * scale!, 100 / gauge!, kept ? keptMm! : null) + 2 * edge!,
          [...shared, spec.gauge.rowsPer10cm, kept ?? { value: 0, standardUncertainty: 0 }],
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
