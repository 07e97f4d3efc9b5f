import {
  CalcError,
  drift,
  gaugeBands,
  projectFinish,
  reviseOptions,
  updateYarnUse,
  type Drift,
  type GaugeBand,
  type Plan,
  type PlanSpec,
  type Projection,
  type ReviseWeights,
  type RevisedOption,
  type Uncertain,
  type UpdatedYarnUse,
} from '../../calc/index.ts';
import type { Check } from '../../server/api/schemas.ts';
import type { Measurement } from '../../vision/measurement.ts';

/** What the maker tells about the piece half-way; null where she did not say. */
export interface CheckInput {
  rowsDone: number | null;
  /** Lowest and topmost row in the photo. */
  fromRow: number | null;
  toRow: number | null;
  heightMm: number | null;
  /** By colour id. */
  gramsBefore: Record<string, number | null>;
  gramsLeft: Record<string, number | null>;
  mattersMost: 'alike' | 'size' | 'yarn' | 'ripping';
}

export interface CheckFacts {
  projection: Projection;
  drift: Drift | null;
  bands: GaugeBand[];
  yarn: UpdatedYarnUse[];
  options: RevisedOption[];
}

/** What is asked for first counts four times as much as the rest. */
const FIRST = 4;
/** A tape laid along a soft piece: a few millimetres either way. */
const TAPE_U_MM = 5;

/**
 * Everything a check says, from the plan as it is being worked, the photo (if any), and what she told.
 * `earlier` are the bands of photos of kept checks: together they show the piece's whole length.
 *
 * @returns the facts, or the sentence that says what is missing or wrong.
 */
export function checkFacts(
  spec: PlanSpec,
  plan: Plan,
  input: CheckInput,
  measurement: Measurement | null,
  earlier: GaugeBand[],
): CheckFacts | string {
  const { rowsDone } = input;
  if (rowsDone === null) return '';
  const working: PlanSpec = { ...spec, fixed: { chain: plan.chain, rows: plan.rows } };
  const gauge = measurement?.gauge ?? null;
  const height: Uncertain | null = input.heightMm
    ? { value: input.heightMm, standardUncertainty: TAPE_U_MM }
    : null;
  const progress = {
    rowsDone,
    ...(gauge ? { stitchesPer10cm: gauge.stitchesPer10cm, rowsPer10cm: gauge.rowsPer10cm } : {}),
    ...(height ? { bodyHeightMm: height } : {}),
  };
  const told = Object.entries(input.gramsLeft).filter(
    (entry): entry is [string, number] => entry[1] !== null,
  );
  const used = told.flatMap(([colour, gramsLeft]) => {
    const gramsBefore = input.gramsBefore[colour];
    return gramsBefore ? [{ colour, gramsBefore, gramsLeft, rowsDone }] : [];
  });
  try {
    const own =
      measurement && input.fromRow !== null && input.toRow !== null
        ? gaugeBands(measurement.localGauge, {
            fromRow: input.fromRow,
            toRow: input.toRow,
            photo: 'now',
          })
        : [];
    const bands = [...earlier, ...own];
    return {
      projection: projectFinish(working, progress),
      bands,
      drift:
        bands.length > 0
          ? drift({
              bands,
              stitches: plan.stitches,
              rows: plan.rows,
              swatch: plan.gauge.stitchesPer10cm,
              ...(measurement?.scale
                ? { scaleRelativeUncertainty: measurement.scale.relativeUncertainty }
                : {}),
            })
          : null,
      yarn: updateYarnUse(working, used),
      // What the scale taught about this yarn holds for every way to finish.
      options: reviseOptions(
        used.length > 0 ? { ...working, yarn: { ...working.yarn, usedSoFar: used } } : working,
        told.length > 0 ? { ...progress, gramsLeft: Object.fromEntries(told) } : progress,
        weightsOf(input.mattersMost),
      ),
    };
  } catch (error) {
    if (error instanceof CalcError) return error.message;
    throw error;
  }
}

function weightsOf(mattersMost: CheckInput['mattersMost']): Partial<ReviseWeights> {
  return mattersMost === 'alike' ? {} : { [mattersMost]: FIRST };
}

/** What a kept check remembers for the history and for later drift. */
export interface KeptResult {
  stitchesPer10cm: Uncertain | null;
  rowsPer10cm: Uncertain | null;
  widthMm: number;
  heightMm: number;
  drift: Drift['status'] | null;
  bands: GaugeBand[];
  gramsBefore: Record<string, number>;
}

/** Reads a kept result back; null for one that another program wrote in another way. */
export function readKept(check: Check): KeptResult | null {
  const kept = check.result as Partial<KeptResult>;
  if (typeof kept.widthMm !== 'number' || typeof kept.heightMm !== 'number') return null;
  return {
    stitchesPer10cm: kept.stitchesPer10cm ?? null,
    rowsPer10cm: kept.rowsPer10cm ?? null,
    widthMm: kept.widthMm,
    heightMm: kept.heightMm,
    drift: kept.drift ?? null,
    bands: Array.isArray(kept.bands) ? kept.bands : [],
    gramsBefore: kept.gramsBefore ?? {},
  };
}
