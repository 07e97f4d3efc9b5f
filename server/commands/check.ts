import { z } from 'zod';
import {
  combineEstimates,
  drift,
  gaugeBands,
  planPiece,
  planSpecSchema,
  projectFinish,
  reviseOptions,
  updateYarnUse,
  type Drift,
  type GaugeBand,
  type Plan,
  type PlanSpec,
  type Progress,
  type Projection,
  type RevisedOption,
  type Uncertain,
  type UpdatedYarnUse,
} from '../../calc/index.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { describeCheck } from './describeCheck.ts';
import { EXIT, InputError } from './exit.ts';
import { parseArguments } from './parseArguments.ts';
import { readJsonFile } from './plan.ts';
import { print } from './print.ts';
import { readInputFile } from './readInputFile.ts';

const USAGE = 'gauge check PHOTO... --project FILE.json [--json]';

const rowsInView = z.strictObject({ fromRow: z.number(), toRow: z.number() });

/** The project file: the plan she works from, and how far she is. */
export const projectSchema = z.strictObject({
  plan: planSpecSchema,
  /** As she counts them; else the rows seen in the photo, when both edges are in view. */
  rowsDone: z.number().optional(),
  /** Which rows each photo shows, in the order of the photos; all that are done when left out. */
  rowsInView: z.array(rowsInView).optional(),
  /** Weights of the yarn by colour: all skeins before the first stitch, and what is left now, g. */
  yarn: z
    .array(z.strictObject({ colour: z.string(), gramsBefore: z.number(), gramsLeft: z.number() }))
    .optional(),
  /** What matters more in ranking the ways to go on. */
  weights: z
    .strictObject({
      size: z.number().optional(),
      yarn: z.number().optional(),
      ripping: z.number().optional(),
    })
    .optional(),
  ripBackTo: z.array(z.number()).optional(),
});

/** What a check says; the page's check holds the same. */
export interface CheckOutcome {
  status: Measurement['status'];
  rowsDone: { value: number; from: 'project' | 'photo' };
  /** Of the piece, all photos together; null when no photo could be read. */
  gauge: { stitchesPer10cm: Uncertain; rowsPer10cm: Uncertain } | null;
  drift: Drift;
  projection: Projection;
  options: RevisedOption[];
  yarn: UpdatedYarnUse[];
  photos: { status: Measurement['status']; rowsCounted: number | null; advice: Measurement['advice'] }[];
}

/**
 * `gauge check`: photos of a piece under way and its plan in; how it is going and the ways to go on out.
 *
 * @returns 0 when the piece's gauge could be read (also when unsure), 3 when every photo was refused
 * @throws InputError, VisionError, CalcError
 */
export async function checkCommand(args: string[]): Promise<number> {
  const { values, positionals } = parseArguments(
    args,
    { project: { type: 'string' }, json: { type: 'boolean' } },
    USAGE,
  );
  if (positionals.length === 0)
    throw new InputError('Name at least one photo of the piece.', `Usage: ${USAGE}`);
  if (values.project === undefined)
    throw new InputError('Name the project file with --project.', `Usage: ${USAGE}`);
  const parsed = projectSchema.safeParse(await readJsonFile(values.project));
  if (!parsed.success) {
    const { path, message } = parsed.error.issues[0]!;
    throw new InputError(`In "${values.project}", ${path.join('.') || 'the whole'}: ${message}.`);
  }
  const project = parsed.data;
  const plan = planPiece(project.plan);

  const { measurePhoto } = await import('../../vision/measurePhoto.ts');
  const { stitch } = project.plan;
  const measured: Measurement[] = [];
  for (const path of positionals) {
    measured.push(
      await measurePhoto(await readInputFile(path), {
        stitch: typeof stitch === 'string' ? stitch : stitch.like,
      }),
    );
  }
  const outcome = checkPiece(project, plan, measured);
  print(values.json ? JSON.stringify(outcome) : describeCheck(outcome, plan));
  return outcome.status === 'refused' ? EXIT.refused : EXIT.answered;
}

/** The check's arithmetic: what the photos gave, put to calc. */
function checkPiece(
  project: z.infer<typeof projectSchema>,
  plan: Plan,
  measured: Measurement[],
): CheckOutcome {
  const readable = measured.filter(({ gauge }) => gauge !== null);
  const together = (pick: (gauge: NonNullable<Measurement['gauge']>) => Uncertain): Uncertain => {
    const { value, standardUncertainty } = combineEstimates(readable.map(({ gauge }) => pick(gauge!)));
    return { value, standardUncertainty };
  };
  const gauge =
    readable.length === 0
      ? null
      : { stitchesPer10cm: together((g) => g.stitchesPer10cm), rowsPer10cm: together((g) => g.rowsPer10cm) };

  const counted = measured.map(({ counted: { rows } }) => (rows ? Math.round(rows.value) : null));
  const seen = measured.length === 1 ? counted[0]! : null;
  const rowsDone = project.rowsDone ?? seen;
  if (rowsDone === null) {
    throw new InputError(
      'The rows done are neither in the project file nor all in one photo.',
      'Add "rowsDone" to it.',
    );
  }
  const bands: GaugeBand[] = measured.flatMap((one, i) =>
    gaugeBands(one.localGauge, {
      ...(project.rowsInView?.[i] ?? { fromRow: 1, toRow: Math.max(1, rowsDone) }),
      photo: `photo ${i + 1}`,
    }),
  );
  const scaleUncertainty = Math.max(0, ...measured.map(({ scale }) => scale?.relativeUncertainty ?? 0));

  // From here on the chain is what it is.
  const spec: PlanSpec = {
    ...project.plan,
    fixed: project.plan.fixed ?? { chain: plan.chain, rows: plan.rows },
  };
  const progress: Progress = { rowsDone, ...(gauge ?? {}) };
  const weighed = project.yarn ?? [];
  const used = weighed.map((one) => ({ ...one, rowsDone }));
  const hasUsed = used.length > 0 && rowsDone > 0;
  // The ways to go on are weighed with what the scale has taught, not with the label alone.
  const taught: PlanSpec = hasUsed ? { ...spec, yarn: { ...spec.yarn, usedSoFar: used } } : spec;
  return {
    status:
      readable.length === 0
        ? 'refused'
        : readable.some(({ status }) => status === 'unsure')
          ? 'unsure'
          : 'ok',
    rowsDone: { value: rowsDone, from: project.rowsDone === undefined ? 'photo' : 'project' },
    gauge,
    drift: drift({
      bands,
      stitches: plan.stitches,
      rows: plan.rows,
      swatch: plan.gauge.stitchesPer10cm,
      scaleRelativeUncertainty: scaleUncertainty,
    }),
    projection: projectFinish(spec, progress),
    options: reviseOptions(
      taught,
      {
        ...progress,
        ...(weighed.length > 0
          ? { gramsLeft: Object.fromEntries(weighed.map(({ colour, gramsLeft }) => [colour, gramsLeft])) }
          : {}),
        ...(project.ripBackTo ? { ripBackTo: project.ripBackTo } : {}),
      },
      project.weights,
    ),
    yarn: hasUsed ? updateYarnUse(spec, used) : [],
    photos: measured.map(({ status, advice }, i) => ({ status, rowsCounted: counted[i]!, advice })),
  };
}
