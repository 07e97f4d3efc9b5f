import { measurePhoto, type FoundCloth, type MeasureHooks } from '../measurePhoto.ts';
import type { Measurement, MeasureOptions } from '../measurement.ts';
import type { Evidence, Verdict } from '../judge.ts';
import type { Advice, Point, Scale } from '../types.ts';
import { badOption } from '../badOption.ts';
import { signedArea, type Quad } from '../scale/geometry.ts';
import { countWithOutline } from './countWithOutline.ts';
import { measureOutline, SMALLEST_WHOLE_MM } from './measureOutline.ts';
import type { PieceOutline } from './pieceOutline.ts';
import { stitchPlaces, type StitchesSeen } from './stitchesAcross.ts';

const TOO_FINE: Advice = {
  code: 'stitches-too-fine',
  message:
    'The size was measured. In a photo of the whole piece its stitches are too fine to count: for the gauge and the tension, add close photos of parts.',
};

const TAPE_UNREAD: ReadonlySet<string> = new Set(['ruler-units-unclear', 'ruler-unread']);

/** From far off a tape is as thin as a thread, and nothing in the photo says that there is one. */
const UNFOUND: ReadonlySet<string> = new Set(['no-reference', 'reference-uncertain']);

const SHEET_FOR_WHOLE: Advice = {
  code: 'sheet-for-whole-piece',
  message:
    'For a photo of the whole piece lay the printed measuring sheet on its middle: from so far off a card is too small and the marks of a tape run together. A height that you read off a tape yourself can be typed in.',
};

/** "Come closer" is no use to a maker whose whole piece has to be in view. */
const TAPE_TOO_FAR: Advice = {
  code: 'tape-too-far',
  message:
    'There is a tape or ruler, but from so far its small marks run together, and whether they are centimetres or inches is not certain. Read the height off the tape yourself and type it in, or lay the measuring sheet on the piece instead. For the tension take close photos of parts, each with the tape.',
};

/**
 * Measures a photo of a piece under way or finished: its gauge as `measurePhoto` does, and its outline.
 *
 * Either may be refused without the other: a whole blanket in one picture has stitches too fine to count, and a
 * close photo has no outline.
 *
 * @param options `cornersPx` are the piece's corners as the maker set them, in any order
 * @throws VisionError when the file is not a photo that can be read, or the corners enclose nothing
 *
 * @example
 * const measurement = await measurePiece(await readFile('blanket.jpg'), { reference: 'sheet' });
 * measurement.piece?.widthMm?.value; // 892.3
 */
export async function measurePiece(
  bytes: Uint8Array,
  options: MeasureOptions = {},
  hooks: MeasureHooks = {},
): Promise<Measurement> {
  let found: FoundCloth | null = null;
  let measured: PieceOutline | null = null;
  const outlineIn = (
    { photo, clothPx }: FoundCloth,
    scale: Scale,
    stitchWidthMm: number | null,
    stitches: StitchesSeen | null,
  ) => {
    const toDecoded = (p: Point): Point => ({ x: p.x * photo.decodeScale, y: p.y * photo.decodeScale });
    const cornersPx = options.cornersPx ? cornersInOrder(options.cornersPx.map(toDecoded)) : null;
    return measureOutline({ photo, scale, clothPx, stitchWidthMm, stitches, cornersPx });
  };
  const measurement = await measurePhoto(bytes, options, {
    ...hooks,
    onCloth: (cloth) => {
      found = cloth;
      hooks.onCloth?.(cloth);
    },
    countEdges: async (evidence, verdict) => {
      const { mean, flat } = evidence;
      // Of a whole piece threads and waves pass for stitches, and its cloth for several times as thick as it is.
      const stitchWidthMm =
        flat.pxPerMm && verdict.status === 'ok' ? mean.stitch.pitchPx / flat.pxPerMm : null;
      if (found?.scale)
        measured = outlineIn(found, found.scale, stitchWidthMm, stitchesSeen(evidence, verdict));
      return await countWithOutline(evidence, verdict, measured);
    },
  });
  const seen = found as FoundCloth | null;
  if (!seen?.scale) {
    const advice = measurement.advice.map((one) => (TAPE_UNREAD.has(one.code) ? TAPE_TOO_FAR : one));
    if (advice.some(({ code }) => UNFOUND.has(code))) advice.push(SHEET_FOR_WHOLE);
    return { ...measurement, advice, piece: null };
  }
  const { scale } = seen;
  const started = performance.now();
  const piece = (measured as PieceOutline | null) ?? outlineIn(seen, scale, null, null);
  const isWhole =
    piece.status === 'ok' && Math.max(piece.widthMm!.value, piece.heightMm!.value) > SMALLEST_WHOLE_MM;
  // What is said of a swatch whose stitches cannot be read is no use to a maker who has the size of her blanket.
  const advice =
    isWhole && measurement.status === 'refused'
      ? [...measurement.advice.filter(({ code }) => scale.advice.some((one) => one.code === code)), TOO_FINE]
      : measurement.advice;
  const total = (measurement.timingsMs.total ?? 0) + Math.round(performance.now() - started);
  return { ...measurement, piece, advice, timingsMs: { ...measurement.timingsMs, total } };
}

/** What the scale alone is to blame for says nothing of how the stitches were read. */
const OF_SCALE: ReadonlySet<string> = new Set(['wide-uncertainty', 'reference-unsure']);
/** From so far off, and where the cloth looks like several stitches alike, columns pass for rows. */
const PLAIN_PITCH_PX = 7;
const PLAIN_LOOK = 0.3;

function stitchesSeen({ lattice, mean, flat }: Evidence, { advice }: Verdict): StitchesSeen {
  const finestPx = Math.min(mean.stitch.pitchPx, mean.row.pitchPx);
  const centre = lattice.places[lattice.places.length >> 1]!;
  const from = flat.toDecoded(centre);
  const to = flat.toDecoded({ x: centre.x + finestPx, y: centre.y });
  return {
    places: stitchPlaces(lattice, flat.toDecoded),
    isPlain:
      advice.every(({ code }) => OF_SCALE.has(code)) &&
      (lattice.looksLike[0]?.weight ?? 0) > PLAIN_LOOK &&
      Math.hypot(to.x - from.x, to.y - from.y) > PLAIN_PITCH_PX,
  };
}

/** Four corners clockwise, wherever the maker began. */
function cornersInOrder(corners: Point[]): Quad {
  const x = corners.reduce((sum, p) => sum + p.x, 0) / 4;
  const y = corners.reduce((sum, p) => sum + p.y, 0) / 4;
  const sorted = [...corners].sort((a, b) => Math.atan2(a.y - y, a.x - x) - Math.atan2(b.y - y, b.x - x));
  if (sorted.length !== 4 || Math.abs(signedArea(sorted)) < 400) {
    throw badOption('piece-corners-flat');
  }
  return sorted as Quad;
}
