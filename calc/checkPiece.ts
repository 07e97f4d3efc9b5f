import { acrossWidth, type AcrossWidth } from './acrossWidth.ts';
import { checkNumber } from './checkNumber.ts';
import { combineParts, SHARED_RELATIVE_U, type PartReading } from './combineParts.ts';
import { drift, type Drift } from './drift.ts';
import type { GaugeBand } from './gaugeBands.ts';
import { outlineBands } from './outlineBands.ts';
import { photosTellDirection } from './photosTellDirection.ts';
import { photoRelativeU } from './photoRelativeU.ts';
import { planPiece, type Plan } from './planPiece.ts';
import type { PlanSpec } from './planSpec.ts';
import { projectFinish, withPieceGauge, type Progress, type Projection } from './projection.ts';
import { readPlanSpec } from './readPlanSpec.ts';
import { reviseOptions, type RevisedOption, type ReviseWeights } from './reviseOptions.ts';
import { rowsDone, type RowsDone } from './rowsDone.ts';
import { estimate, type Estimate, NONE, type Uncertain } from './uncertain.ts';
import { updateYarnUse, type UpdatedYarnUse } from './updateYarnUse.ts';

/** Size of the whole piece from its outline, mm, border included as far as it is worked. */
export interface PieceSize {
  widthMm: Uncertain;
  heightMm: Uncertain;
  widths: readonly { at: number; lengthMm: Uncertain }[];
  heights: readonly { at: number; lengthMm: Uncertain }[];
  /** Whether its rows run up and down in that photo (`rowsRunUpright`); null where no stitches could be read. */
  rowsUpright?: boolean | null;
}

/**
 * An outline runs where the yarn ends: beyond the stitches lie the foundation, the loops of the last row, the turned
 * edges. Both edges together, in stitch widths, of 97 development photos, and by how much fabrics differ (vision counts
 * rows with the same numbers).
 */
const YARN_BEYOND_STITCHES = { width: 1.04, height: 1.2 } as const;
const YARN_BEYOND_U_STITCHES = 0.33;

/** An outline that differs by more from the stitches' width (as ln) is no outline of the whole piece. */
const SAME_PIECE = 0.2;

export interface CheckPieceInput {
  plan: PlanSpec;
  /** Photos of the piece or of parts of it, from the first rows to the last. */
  parts: readonly PartReading[];
  /** From a photo of the whole piece. */
  size?: PieceSize | null;
  /**
   * Where row 1 lies in the photos: at their bottom (at their left, if the piece lies on its side) when left out, or
   * at the other end. Neither an outline nor the stitches tell, and a drift looks the other way round.
   */
  rowOneAt?: 'bottom' | 'top';
  /** Whether she said so of all photos; what is left out or set for her is not believed where photos tell themselves. */
  rowOneTold?: boolean;
  /** The row she believes she is on. */
  rowsDone: number | null;
  /** Rounds of the border that are worked already. */
  borderRoundsDone?: number;
  /** Height and width by tape, without border, mm; they go before the photo's. */
  bodyHeightMm?: Uncertain | null;
  bodyWidthMm?: Uncertain | null;
  /** Weights by colour: all skeins before the first stitch, and what is left, g. */
  yarn?: readonly { colour: string; gramsBefore: number; gramsLeft: number }[];
  /** Bands of earlier checks of this piece. */
  earlierBands?: readonly GaugeBand[];
  weights?: Partial<ReviseWeights>;
  ripBackTo?: number[];
  /** Relative standard uncertainty of the photos' scale. */
  scaleRelativeUncertainty?: number;
}

export interface CheckedPiece {
  rowsDone: RowsDone & { value: number };
  /** Of the piece, all photos together; null when none could be read. */
  gauge: { stitchesPer10cm: Uncertain; rowsPer10cm: Uncertain } | null;
  /** As it lies there now. */
  sizeNow: { widthMm: Uncertain | null; heightMm: Uncertain | null };
  bands: GaugeBand[];
  /** Photos that were left out because they must have been counted by another unit. */
  leftOut: string[];
  drift: Drift;
  /** Where the drift was read: by the stitches, or by the width of an outline. */
  driftFrom: 'stitches' | 'outline';
  /** Whether there is one that photos of one part alone show: which way it goes rests on which end of them is row 1. */
  driftRestsOnRowOne: boolean;
  /** Whether the photo of the whole piece shows it lying on its side, its rows upright. */
  onItsSide: boolean;
  /** From left to right, of the photos that could be read. */
  across: AcrossWidth;
  projection: Projection;
  options: RevisedOption[];
  yarn: UpdatedYarnUse[];
}

/**
 * Everything a check of a piece says: rows done, drift, where it will end, yarn, and the ways to go on.
 *
 * @returns null when neither she nor any photo tells how many rows are done
 * @throws CalcError for a plan or numbers that make no sense
 */
export function checkPiece(input: CheckPieceInput): CheckedPiece | null {
  const parts = input.parts.map((part) =>
    (input.rowOneAt === 'top') === runsLeft(part) ? part : turnedRound(part),
  );
  const plan = planPiece(input.plan);
  const spec: PlanSpec = { ...input.plan, fixed: input.plan.fixed ?? { chain: plan.chain, rows: plan.rows } };
  const borderDepthMm = borderWorked(plan, input.borderRoundsDone ?? 0);
  const first = combineParts(parts, input.rowsDone ?? plan.rows, plan.gauge.stitchesPer10cm.value);
  const { size, onItsSide } = wholePiece(input.size ?? null, {
    widthMm: (100 * plan.stitches) / (first.gauge ?? plan.gauge).stitchesPer10cm.value + 2 * borderDepthMm,
    heightMm:
      input.rowsDone === null
        ? null
        : (100 * input.rowsDone) / (first.gauge ?? plan.gauge).rowsPer10cm.value + 2 * borderDepthMm,
  });
  const bodyHeightMm = input.bodyHeightMm ?? without(size?.heightMm, borderDepthMm);
  const bodyWidthMm = input.bodyWidthMm ?? without(size?.widthMm, borderDepthMm);

  const stitchMm = 100 / (first.gauge ?? plan.gauge).stitchesPer10cm.value;
  const beyond = (axis: 'width' | 'height'): Uncertain => ({
    value: YARN_BEYOND_STITCHES[axis] * stitchMm,
    standardUncertainty: YARN_BEYOND_U_STITCHES * stitchMm,
  });
  // A tape is laid as she lays it, and a border has edges of its own.
  const isToTheYarn = size !== null && borderDepthMm === 0;
  const yarnBeyondMm = {
    width: isToTheYarn && !input.bodyWidthMm ? beyond('width') : NONE,
    height: isToTheYarn && !input.bodyHeightMm ? beyond('height') : NONE,
  };

  // From edge to edge a border that is begun counts as rows too; what is no whole piece has other rows, and what was
  // counted by another unit as well.
  const [only] = parts;
  const isWhole = (!input.size || size !== null) && first.leftOut.length === 0;
  const counted = only && parts.length === 1 && borderDepthMm === 0 && isWhole ? only.rowsCounted : null;
  const rows = rowsDone({
    told: input.rowsDone,
    counted:
      counted === null
        ? null
        : { value: counted, standardUncertainty: only?.rowsCountedU ?? 0.5, orElse: only?.rowsOrElse },
    bodyHeightMm: input.bodyHeightMm ? null : lessBy(bodyHeightMm, yarnBeyondMm.height),
    rowsPer10cm: first.gauge?.rowsPer10cm ?? null,
  });
  if (rows.value === null) return null;
  const done = Math.min(rows.value, input.rowsDone === null ? plan.rows : rows.value);
  const { gauge: ofParts, bands: own, leftOut } = combineParts(parts, done, plan.gauge.stitchesPer10cm.value);
  const fromOutline =
    own.length === 0 && size
      ? outlineBands({
          widths: size.widths.map((one) => (input.rowOneAt === 'top' ? { ...one, at: 1 - one.at } : one)),
          stitches: plan.stitches,
          rowsDone: done,
          borderDepthMm: borderDepthMm + yarnBeyondMm.width.value / 2,
          photo: 'outline',
        })
      : [];
  const bands = [...(input.earlierBands ?? []), ...own, ...fromOutline];

  const tension = drift({
    bands,
    stitches: plan.stitches,
    rows: plan.rows,
    rowsDone: done,
    swatch: plan.gauge.stitchesPer10cm,
    photosLieAsTold: input.rowOneTold ?? false,
    ...(input.scaleRelativeUncertainty === undefined
      ? {}
      : { scaleRelativeUncertainty: photoRelativeU(input.scaleRelativeUncertainty) }),
  });
  const borderRoundsDone = input.borderRoundsDone ?? 0;
  const drifts = tension.status === 'tighter' || tension.status === 'looser';
  // Photos that differ because the tension drifts do not contradict each other.
  const gauge =
    ofParts && drifts && own.length > 0 && tension.inTheMiddle
      ? { ...ofParts, stitchesPer10cm: readAlike(tension.inTheMiddle) }
      : ofParts;
  const progress: Progress = {
    rowsDone: done,
    borderRoundsDone,
    ...(gauge ?? {}),
    ...(bodyHeightMm ? { bodyHeightMm } : {}),
    ...(bodyWidthMm ? { bodyWidthMm } : {}),
    yarnBeyondMm,
    ...(drifts && tension.widthPerRow ? { widthPerRow: tension.widthPerRow } : {}),
  };
  const used = (input.yarn ?? []).map((one) => ({ ...one, rowsDone: done, borderRoundsDone }));
  const hasUsed = used.length > 0 && done > 0;
  // The ways to go on are weighed with what the scale has taught, not with the label alone.
  const taught: PlanSpec = hasUsed ? { ...spec, yarn: { ...spec.yarn, usedSoFar: used } } : spec;
  const asWorked: PlanSpec = {
    ...spec,
    gauge: withPieceGauge(readPlanSpec(spec), progress).spec.gauge,
  };
  const yarn = hasUsed ? updateYarnUse(asWorked, used) : [];
  return {
    rowsDone: { ...rows, value: done },
    gauge,
    sizeNow: {
      widthMm: bodyWidthMm ?? null,
      heightMm: bodyHeightMm ?? null,
    },
    bands: [...own, ...fromOutline],
    leftOut,
    drift: tension,
    driftFrom: fromOutline.length > 0 ? 'outline' : 'stitches',
    driftRestsOnRowOne: drifts && !photosTellDirection(bands),
    onItsSide,
    across: acrossWidth(parts.filter(({ name }) => !leftOut.includes(name))),
    projection: projectFinish(spec, progress),
    options: reviseOptions(
      taught,
      {
        ...progress,
        gramsPerStitch: Object.fromEntries(yarn.map(({ colour, updated }) => [colour, updated])),
        ...(used.length > 0
          ? { gramsLeft: Object.fromEntries(used.map(({ colour, gramsLeft }) => [colour, gramsLeft])) }
          : {}),
        ...(input.ripBackTo ? { ripBackTo: input.ripBackTo } : {}),
      },
      input.weights,
    ),
    yarn,
  };
}

/**
 * The size, turned where the piece was photographed lying on its side; null where what was outlined is a swatch or a
 * part: the stitches of a row tell how wide the piece must be. Which way the rows run tells how it lies; a piece that
 * is about square so far does not, by its size.
 */
function wholePiece(
  size: PieceSize | null,
  expected: { widthMm: number; heightMm: number | null },
): { size: PieceSize | null; onItsSide: boolean } {
  if (!size) return { size, onItsSide: false };
  const onItsSide: PieceSize = {
    widthMm: size.heightMm,
    heightMm: size.widthMm,
    widths: size.heights,
    heights: size.widths,
  };
  const off = ({ value }: Uncertain, expectedMm: number | null): number =>
    expectedMm ? Math.abs(Math.log(value / expectedMm)) : 0;
  const isSame = (one: PieceSize): boolean => off(one.widthMm, expected.widthMm) <= SAME_PIECE;
  const byNumbers = (one: PieceSize): number =>
    off(one.widthMm, expected.widthMm) + off(one.heightMm, expected.heightMm);
  const seemsTurned =
    size.rowsUpright ??
    (expected.heightMm ? byNumbers(onItsSide) < byNumbers(size) : !isSame(size) && isSame(onItsSide));
  const [likely, other] = seemsTurned ? [onItsSide, size] : [size, onItsSide];
  const whole = isSame(likely) ? likely : isSame(other) ? other : null;
  return { size: whole, onItsSide: whole === onItsSide };
}

/** Whether rows are counted from right to left: of a piece on its side whose left lies a little higher. */
const runsLeft = ({ rowAngleDeg }: PartReading): boolean =>
  Math.cos(((rowAngleDeg ?? 0) * Math.PI) / 180) < -Math.SQRT1_2;

/** A photo whose first rows are at the other end than they are counted from. */
function turnedRound(part: PartReading): PartReading {
  return {
    ...part,
    localGauge: part.localGauge.map((one) => ({ ...one, alongRows: 1 - one.alongRows })),
  };
}

/** With the uncertainty that all photos share, because one reader reads them. */
function readAlike({ value, standardUncertainty }: Uncertain): Estimate {
  return estimate(value, Math.hypot(standardUncertainty, SHARED_RELATIVE_U * value), 0);
}

function lessBy(size: Uncertain | null, less: Uncertain): Uncertain | null {
  return (
    size && {
      value: size.value - less.value,
      standardUncertainty: Math.hypot(size.standardUncertainty, less.standardUncertainty),
    }
  );
}

function borderWorked(plan: Plan, rounds: number): number {
  if (!plan.border || rounds <= 0) return 0;
  checkNumber('borderRoundsDone', rounds, { min: 0, max: plan.border.rounds.length, whole: true });
  return plan.border.rounds.slice(0, rounds).reduce((sum, { depthMm }) => sum + depthMm, 0);
}

function without(size: Uncertain | undefined, borderDepthMm: number): Uncertain | null {
  if (!size || size.value <= 2 * borderDepthMm) return null;
  return { value: size.value - 2 * borderDepthMm, standardUncertainty: size.standardUncertainty };
}
