import { z } from 'zod';
import {
  checkPiece,
  lengthSchema,
  parseLength,
  planPiece,
  planSpecSchema,
  partOfPhoto,
  plannedGaugeOf,
  sizeInPhoto,
  stitchKeyOf,
  type CheckedPiece,
  type Uncertain,
} from '../../calc/index.ts';
import type { Measurement } from '../../vision/measurement.ts';
import type { PieceOutline } from '../../vision/piece/pieceOutline.ts';
import { describeCheck } from './describeCheck.ts';
import { EXIT, InputError } from './exit.ts';
import { referenceOptions, threadsWhenFresh } from './measure.ts';
import { parseArguments } from './parseArguments.ts';
import { readJsonFile } from './plan.ts';
import { print } from './print.ts';
import { readInputFile } from './readInputFile.ts';

const USAGE =
  'gauge check PHOTO... --project FILE.json [--reference auto|card|ruler|tape|paper|sheet] [--paper a4|a5|letter] [--json]';

const rowsInView = z.strictObject({ fromRow: z.number(), toRow: z.number() });

/** The project file: the plan she works from, and how far she is. */
export const projectSchema = z.strictObject({
  plan: planSpecSchema,
  /** As she counts them; else the rows seen in the photo, when both edges are in view. */
  rowsDone: z.number().optional(),
  /** Which rows each photo shows, in the order of the photos; when left out, evenly from first to last. */
  rowsInView: z.array(rowsInView).optional(),
  /** Border rounds that are worked already and so in the photo. */
  borderRoundsDone: z.number().optional(),
  /** Which end of the photos shows row 1; the bottom (the left, of a piece on its side) when left out. */
  rowOneAt: z.enum(['bottom', 'top']).optional(),
  /** Height and width by tape, without the border; they go before the photo's. */
  bodyHeightMm: lengthSchema.optional(),
  bodyWidthMm: lengthSchema.optional(),
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
export interface CheckOutcome extends CheckedPiece {
  status: Measurement['status'];
  /** Size of the whole piece, from the surest photo that shows all of it. */
  piece: PieceOutline | null;
  photos: {
    status: Measurement['status'];
    pieceStatus: PieceOutline['status'] | null;
    rowsCounted: number | null;
    /** The number next to it, where either may be right. */
    rowsOrElse: number | null;
    advice: Measurement['advice'];
  }[];
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
    {
      project: { type: 'string' },
      reference: { type: 'string' },
      paper: { type: 'string' },
      json: { type: 'boolean' },
    },
    USAGE,
  );
  if (positionals.length === 0)
    throw new InputError('Name at least one photo of the piece.', `Usage: ${USAGE}`);
  if (values.project === undefined)
    throw new InputError('Name the project file with --project.', `Usage: ${USAGE}`);
  const reference = referenceOptions(values);
  const parsed = projectSchema.safeParse(await readJsonFile(values.project));
  if (!parsed.success) {
    const { path, message } = parsed.error.issues[0]!;
    const where = path.join('.') || 'the whole';
    const what = message.endsWith('received undefined') ? `${where} is missing` : `${where}: ${message}`;
    throw new InputError(`In "${values.project}", ${what}.`);
  }
  const project = parsed.data;
  const plan = planPiece(project.plan);

  const { measurePiece } = await import('../../vision/piece/measurePiece.ts');
  const { useThreads } = await import('../../vision/network.ts');
  useThreads(threadsWhenFresh());
  const { stitch } = project.plan;
  const measured: Measurement[] = [];
  for (const path of positionals) {
    measured.push(
      await measurePiece(await readInputFile(path), {
        ...reference,
        stitch: stitchKeyOf(stitch),
        plannedGauge: plannedGaugeOf(plan),
      }),
    );
  }
  const outcome = outcomeOf(project, measured);
  const nameOf = (id: string): string => project.plan.colours?.find((colour) => colour.id === id)?.name ?? id;
  const rowOneAt = project.rowOneAt ?? 'bottom';
  print(values.json ? JSON.stringify(outcome) : describeCheck(outcome, plan, { nameOf, rowOneAt }));
  return outcome.status === 'refused' ? EXIT.refused : EXIT.answered;
}

/** A tape laid along a soft piece: a few millimetres either way. */
const TAPE_U_MM = 5;

function byTape(
  project: z.infer<typeof projectSchema>,
  field: 'bodyHeightMm' | 'bodyWidthMm',
): Uncertain | null {
  const told = project[field];
  if (told === undefined) return null;
  const unit = project.plan.units ?? 'cm';
  const value = typeof told === 'string' ? parseLength(told, { unit, field }) : told;
  return { value, standardUncertainty: TAPE_U_MM };
}

/** What the photos gave, put to calc. */
function outcomeOf(project: z.infer<typeof projectSchema>, measured: Measurement[]): CheckOutcome {
  const outlined = measured.filter(({ piece }) => piece?.widthMm && piece.heightMm);
  const unsureness = ({ piece }: Measurement): number =>
    piece!.widthMm!.standardUncertainty / piece!.widthMm!.value + (piece!.status === 'ok' ? 0 : 1);
  const showing = outlined.toSorted((a, b) => unsureness(a) - unsureness(b))[0] ?? null;
  const piece = showing?.piece ?? null;
  const checked = checkPiece({
    plan: project.plan,
    parts: measured.map((one, i) => partOfPhoto(one, `photo ${i + 1}`, project.rowsInView?.[i])),
    size: showing && sizeInPhoto(showing),
    rowsDone: project.rowsDone ?? null,
    bodyHeightMm: byTape(project, 'bodyHeightMm'),
    bodyWidthMm: byTape(project, 'bodyWidthMm'),
    ...(project.borderRoundsDone === undefined ? {} : { borderRoundsDone: project.borderRoundsDone }),
    ...(project.rowOneAt ? { rowOneAt: project.rowOneAt, rowOneTold: true } : {}),
    ...(project.yarn ? { yarn: project.yarn } : {}),
    ...(project.weights ? { weights: project.weights } : {}),
    ...(project.ripBackTo ? { ripBackTo: project.ripBackTo } : {}),
    scaleRelativeUncertainty: Math.max(0, ...measured.map(({ scale }) => scale?.relativeUncertainty ?? 0)),
  });
  if (!checked) {
    throw new InputError(
      'The rows done are neither in the project file nor all in one photo.',
      'Add "rowsDone" to it.',
    );
  }
  const statuses = measured.map(({ status, piece: one }) =>
    status !== 'refused' ? status : one && one.status !== 'refused' ? one.status : 'refused',
  );
  const isPart = (one: Measurement): boolean =>
    measured.length > 1 && (one.piece !== piece || checked.sizeNow.widthMm === null);
  return {
    ...checked,
    status: statuses.every((status) => status === 'refused')
      ? 'refused'
      : statuses.includes('unsure') || checked.rowsDone.said?.code === 'rowsDone.either'
        ? 'unsure'
        : 'ok',
    piece,
    photos: measured.map((one) => ({
      status: one.status,
      pieceStatus: one.piece?.status ?? null,
      rowsCounted: one.counted.rows && Math.round(one.counted.rows.value),
      rowsOrElse: one.counted.rows?.orElse ?? null,
      // A part of a piece has no outline, and needs none.
      advice: [...one.advice, ...(isPart(one) ? [] : (one.piece?.advice ?? []))],
    })),
  };
}
