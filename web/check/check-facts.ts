import {
  CalcError,
  checkPiece,
  partOfPhoto,
  sizeInPhoto,
  type CheckedPiece,
  type Drift,
  type GaugeBand,
  type PlanSpec,
  type ReviseWeights,
  type Uncertain,
} from '../../calc/index.ts';
import type { Check } from '../../server/api/schemas.ts';
import type { Measurement } from '../../vision/measurement.ts';
import type { PieceOutline } from '../../vision/piece/pieceOutline.ts';
import { refusalWords } from '../lib/say.ts';

/** What the maker tells about the piece half-way; null where she did not say. */
export interface CheckInput {
  rowsDone: number | null;
  heightMm: number | null;
  borderRoundsDone: number;
  /** By colour id. */
  gramsBefore: Record<string, number | null>;
  gramsLeft: Record<string, number | null>;
  /** Which end of a photo of the whole piece shows row 1. */
  rowOneAt: 'bottom' | 'top';
  mattersMost: 'alike' | 'size' | 'yarn' | 'ripping';
}

/** One photo of the piece or of a part of it. */
export interface PartPhoto {
  photoId: string;
  measurementId: string;
  measurement: Measurement;
  /** Lowest and topmost row in it, where she says so. */
  fromRow: number | null;
  toRow: number | null;
}

export interface CheckFacts extends CheckedPiece {
  /** Of the whole piece, from the surest photo that shows it. */
  piece: PieceOutline | null;
}

/** What is asked for first counts four times as much as the rest. */
const FIRST = 4;
/** A tape laid along a soft piece: a few millimetres either way. */
const TAPE_U_MM = 5;

/**
 * Everything a check says, from the plan as it is being worked, the photos (if any), and what she told.
 * `earlier` are the bands of photos of kept checks: together they show the piece's whole length.
 *
 * @returns the facts, or the sentence that says what is wrong; empty while too little is known.
 */
export function checkFacts(
  spec: PlanSpec,
  input: CheckInput,
  parts: PartPhoto[],
  earlier: GaugeBand[],
): CheckFacts | string {
  const outlined = parts.filter(({ measurement: { piece } }) => piece?.widthMm && piece.heightMm);
  const showing =
    outlined.find(({ measurement }) => measurement.piece?.status === 'ok') ?? outlined[0] ?? null;
  const piece = showing?.measurement.piece ?? null;
  const yarn = Object.entries(input.gramsLeft).flatMap(([colour, gramsLeft]) => {
    const gramsBefore = input.gramsBefore[colour];
    return gramsLeft !== null && gramsBefore ? [{ colour, gramsBefore, gramsLeft }] : [];
  });
  const scales = parts.flatMap(({ measurement: { scale } }) => scale?.relativeUncertainty ?? []);
  try {
    const checked = checkPiece({
      plan: spec,
      parts: parts.map(({ photoId, measurement, fromRow, toRow }) =>
        partOfPhoto(
          measurement,
          photoId,
          fromRow !== null && toRow !== null ? { fromRow, toRow } : undefined,
        ),
      ),
      size: showing && sizeInPhoto(showing.measurement),
      rowsDone: input.rowsDone,
      rowOneAt: input.rowOneAt,
      borderRoundsDone: input.borderRoundsDone,
      bodyHeightMm: input.heightMm ? { value: input.heightMm, standardUncertainty: TAPE_U_MM } : null,
      yarn,
      earlierBands: earlier,
      weights: weightsOf(input.mattersMost),
      ...(scales.length > 0 ? { scaleRelativeUncertainty: Math.max(...scales) } : {}),
    });
    return checked ? { ...checked, piece } : '';
  } catch (error) {
    if (error instanceof CalcError) return refusalWords(error, spec.units ?? 'cm');
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

/** Bands of all photos of kept checks; of a photo that is in several of them, as the last one placed it. */
export function bandsKept(results: readonly (KeptResult | null)[]): GaugeBand[] {
  const lastOf = new Map<string | undefined, KeptResult>();
  for (const result of results) for (const { photo } of result?.bands ?? []) lastOf.set(photo, result!);
  return results.flatMap((result) => result?.bands.filter(({ photo }) => lastOf.get(photo) === result) ?? []);
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
