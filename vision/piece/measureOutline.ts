import { mean as meanOf } from 'simple-statistics';
import { measured } from '../measured.ts';
import { distance, signedArea, contains, type Quad } from '../scale/geometry.ts';
import { isRuler } from '../scale/isRuler.ts';
import { pictureCentre, pxToMm, type PictureSize } from '../scale/lens.ts';
import { signsTogether, type Signs } from '../scale/ruler/heldPlanes.ts';
import { knowWorkHeight } from '../scale/knowWorkHeight.ts';
import type { Advice, DecodedPhoto, Measured, Point, Scale } from '../types.ts';
import { chordUncertainty, type ChordPx } from './chordUncertainty.ts';
import { sidesAlike, sidesBelief } from './evenPiece.ts';
import { familiesOf, linesBeside, parallelSigns } from './parallelLines.ts';
import { stitchChanges, type StitchesSeen } from './stitchesAcross.ts';
import { followEdge } from './followEdge.ts';
import { outlineSizes, type OutlineSizes } from './outlineSizes.ts';
import type { PieceOutline } from './pieceOutline.ts';
import { segmentPiece } from './segmentPiece.ts';

export interface MeasureOutlineInput {
  photo: DecodedPhoto;
  scale: Scale;
  /** Where the reader saw cloth, decoded px; null when it saw none. */
  clothPx: Point[] | null;
  /** Mean stitch width, mm, when it was read surely: it tells how thick the cloth is. */
  stitchWidthMm: number | null;
  /** What was read of its stitches, which tell how the table leans; null when nothing was. */
  stitches?: StitchesSeen | null;
  /** Corners as the maker set them, decoded px. */
  cornersPx: Quad | null;
}

/** An edge's own standard uncertainty, found on development photos, px of the picture in which it is followed. */
const EDGE_PX = 0.6;
/** An edge that wanders about a smooth line is harder to tell and to lay a tape to: so much of its standard deviation. */
const WAVE_SHARE = 0.5;
/** Loops at an edge stand out by so much, mm: where a tape would be laid is a matter of choice. */
const LOOP_MM = 0.8;
/**
 * The same in stitch widths: wide stitches have large loops, and the furrow behind the outermost of them may be taken for the
 * edge. The outlines of 77 development pieces lie off by 1.5 mm (root mean square), by more where stitches are wide.
 */
const LOOP_STITCHES = 0.25;
/** A stitch of medium yarn, where none could be read, mm. */
const USUAL_STITCH_MM = 6;
/**
 * A side that wanders by more than this share of the smaller side (standard deviation) is not the piece's all along: a
 * fold of what lies under it, a shadow on a pale stripe, or a strip of table up to its end, was taken for cloth. Sides that
 * were followed rightly stay below 0.8 % on 33 development pieces, one of them at 1.1; three that were not have 1.2 to 1.4 %.
 */
const WORST_WAVE_SHARE = 0.012;
/**
 * A border is seldom deeper than this, mm (19 of 20 of 301 drawn pieces have less than 55): a board with as even a margin
 * round a piece had passed for one, 29 % off and sure.
 */
const DEEPEST_BORDER_MM = 65;
/** Standard uncertainty of the width at the top against that at the bottom, per cent, up to which sizes are given. */
const WORST_GRADIENT_PERCENT = 1.4;
/**
 * The same of a mean size by a tape: relative standard uncertainty. Where the plane beside it is known less well, which of two
 * ways the table leans is open.
 */
const MOST_BY_TAPE = 0.01;
/** Above this a card is a small reference. */
const LARGE_PIECE_MM = 900;
/**
 * Whole pieces are larger than this; what is smaller fills the picture with stitches that can be read. A whole one is seen
 * from so far off that a tape's marks may be read by a wrong unit: of 62 drawn pieces of 30 to 150 cm beside a tape, four
 * were given a size without a doubt, and one of these was 18 % off.
 */
export const SMALLEST_WHOLE_MM = 300;

const WORDS = {
  'piece-cut-off':
    'The piece runs out of the picture, so its outline cannot be measured. Step back until all of it is in view, or take several photos of parts of it, each with something of known size.',
  'no-outline':
    'The piece does not stand out from what it lies on. Lay it on a plain floor, bed or table of another colour, or set its four corners by hand.',
  'edge-unclear':
    'Part of the edge looks like what lies beside it. Check the outline that is drawn, set the corners by hand where it is wrong, or lay the piece on something of another colour.',
  'rim-unlike':
    'The outer part of what was found looks unlike its middle: it may be a border, or a rug or table under the piece. Check the outline that is drawn, and set the corners by hand if it is not the edge of the piece.',
  'not-four-sided':
    'What was found is not four-sided. Smooth the piece flat, or set its four corners by hand.',
  'cloth-outside':
    'Stitches were seen outside the outline too. Check the outline that is drawn, and set the corners by hand where it is wrong.',
  'edge-hidden':
    'Something lies across an edge of the piece. Lay the reference beside the piece or on its middle, and photograph it again.',
  'reference-is-piece':
    'What was taken for a sheet of paper may be the piece itself. Say which reference lies there, or lay our printed sheet beside the piece.',
  'large-piece-small-reference':
    'The piece is large and a card is small: at this distance its size is uncertain. Lay our printed sheet on the middle of the piece, or take two close photos of parts.',
  'size-uncertain':
    'The reference is too small or too far away for a sure size. Lay our printed sheet on the middle of the piece.',
  'lean-unclear':
    'How the table leans before the camera is not told well enough by one tape beside the piece. Lay the printed sheet on the middle of the piece, or lay the piece on a floor of boards or tiles whose lines show around it, and take the photo again from straight above.',
  'tape-far-off':
    'From so far off the marks of a tape or ruler are easily misread. Check the size that is shown against the tape itself, or lay our printed sheet on the middle of the piece.',
} as const;
type Code = keyof typeof WORDS;

/**
 * Measures a whole piece by its outline against floor, bed or table.
 *
 * The picture is divided into piece and rest (`segmentPiece`), the edge is followed more finely (`followEdge`),
 * and sizes are taken in mm in the plane of the work (`outlineSizes`). Their standard uncertainties join the
 * scale's (growing with the distance from the reference), the lens's and the edge's (JCGM 100:2008, 5.1).
 *
 * @example
 * const piece = measureOutline({ photo, scale, clothPx: null, stitchWidthMm: null, cornersPx: null });
 * piece.widthMm?.value; // 892.3
 */
export function measureOutline(input: MeasureOutlineInput): PieceOutline {
  const { photo, cornersPx } = input;
  let { scale } = input;
  const hidden = scale.kind === 'manual' || scale.outlinePx.length < 3 ? [] : [scale.outlinePx];
  if (cornersPx === null && scale.kind === 'paper' && looksLikeThePiece(scale.outlinePx, photo)) {
    return refused('reference-is-piece');
  }
  const segment = segmentPiece(photo.rgb, {
    hidden,
    ...(input.clothPx ? { clothPx: input.clothPx } : {}),
    ...(cornersPx ? { cornersPx } : {}),
  });
  if (!segment || segment.share < 0.03) return refused('no-outline');
  if (!cornersPx && segment.cutOff > 0.04) return refused('piece-cut-off');
  const edge = followEdge(photo.rgb, segment, { hidden, ...(cornersPx ? { reachSteps: 3 } : {}) });
  const clearShare = edge.clear.filter((c) => c >= 0.5).length / Math.max(1, edge.clear.length);
  if (edge.pointsPx.length < 24) return refused('no-outline');
  if (!cornersPx && clearShare < 0.45) return refused('no-outline');

  let flat = flatten(photo, scale, input.stitchWidthMm, edge.pointsPx);
  if (!flat) return refused('not-four-sided');
  // How the table leans about a tape the piece itself and the table tell better.
  const held =
    scale.heldAgainst && sizeMm(flat.sizes) > SMALLEST_WHOLE_MM
      ? holdScale(scale, flat, input, edge.pointsPx)
      : null;
  const again = held && flatten(photo, held, input.stitchWidthMm, edge.pointsPx);
  if (again) [scale, flat] = [held, again];
  const isHeld = again !== null;
  const isSurelyRead = Boolean(isHeld && input.scale.isSurelyRead && scale.isSurelyRead);
  const { toMm, contourMm, sizes, nearest, onPx } = flat;
  const codes: Code[] = [];
  const quadArea = Math.abs(signedArea(sizes.corners));
  if (Math.abs(Math.log(sizes.area / quadArea)) > 0.14 || sizes.anglesDeg.some((a) => a < 55 || a > 125))
    codes.push('not-four-sided');
  if (!cornersPx) {
    const worstWave = Math.max(...sizes.sideWaves);
    if (clearShare < 0.8 || worstWave > WORST_WAVE_SHARE * smallerOf(sizes)) codes.push('edge-unclear');
    if (segment.rimUnlike > 0.75 || (segment.borderPx ?? 0) * toMm.mmPerPx > DEEPEST_BORDER_MM)
      codes.push('rim-unlike');
    // Tablecloths are cloth too: what the reader saw outside counts where it saw the piece itself well.
    if ((segment.insideCloth ?? 0) > 0.6 && (segment.clothInside ?? 1) < 0.65) codes.push('cloth-outside');
  }
  if (longestGap(edge.pointsPx) > 0.025) codes.push('edge-hidden');

  // Uncertainties.
  const edgeMm =
    toMm.mmPerPx * Math.hypot(0.5 * edge.scatterPx, EDGE_PX * Math.max(1, longSide(photo) / 1600));
  const loopMm = LOOP_STITCHES * (input.stitchWidthMm ?? USUAL_STITCH_MM);
  const plainEnd = (waveMm: number): number => Math.hypot(edgeMm, LOOP_MM, WAVE_SHARE * waveMm);
  const end = (waveMm: number): number => Math.hypot(plainEnd(waveMm), loopMm);
  const [topWave, rightWave, bottomWave, leftWave] = sizes.sideWaves;
  const endMm = end(sizes.wave);
  /** Both ends of a width, or of a height. */
  const widthEndsMm = Math.hypot(end(leftWave), end(rightWave));
  const heightEndsMm = Math.hypot(end(topWave), end(bottomWave));
  const scalePart = chordUncertainty(photo.rgb, scale, toMm.relativeUncertainty);
  const across = (found: OutlineSizes['widths'], endsMm: number) =>
    found.map(({ at, length, ends }) => ({
      at,
      lengthMm: measured(length, Math.hypot(length * scalePart.ofMean(onPx([{ at, length, ends }])), endsMm)),
      endsPx: ends.map((p) => toOriginal(nearest(p), photo)) as [Point, Point],
    }));
  const mean = (found: OutlineSizes['widths'], endsMm: number): Measured => {
    const value = found.reduce((sum, one) => sum + one.length, 0) / found.length;
    const relative = scalePart.ofMean(onPx(found));
    // The edges of one side share their shadow and their loops: four of them count as two.
    return measured(value, Math.hypot(value * relative, endsMm / Math.sqrt(2)));
  };
  const widthMm = mean(sizes.widths, widthEndsMm);
  const heightMm = mean(sizes.heights, heightEndsMm);
  const relative = (m: Measured) => m.standardUncertainty / m.value;
  const largest = Math.max(widthMm.value, heightMm.value);
  const isUncertain = Math.max(relative(widthMm), relative(heightMm)) > (isHeld ? MOST_BY_TAPE : 0.02);
  if (scale.kind === 'card' && largest > LARGE_PIECE_MM) codes.push('large-piece-small-reference');
  else if (isUncertain) codes.push(isSurelyRead ? 'lean-unclear' : 'size-uncertain');
  if (isRuler(scale) && largest > SMALLEST_WHOLE_MM && !isSurelyRead) codes.push('tape-far-off');
  const taper = (100 * sizes.topMinusBottom) / widthMm.value;
  const gradientBy = (ownMm: number): number =>
    Math.hypot(100 * scalePart.ofTaper(onPx(sizes.widths)), (100 * 2 * ownMm) / widthMm.value);
  // Where perspective is not known, means may be right and single sizes still be far off.
  if (
    !isHeld &&
    gradientBy(plainEnd(sizes.wave)) > WORST_GRADIENT_PERCENT &&
    !codes.includes('size-uncertain')
  )
    codes.push('size-uncertain');
  return {
    status: codes.length > 0 ? 'unsure' : 'ok',
    contourMm,
    contourPx: edge.pointsPx.map((p) => toOriginal(p, photo)),
    cornersPx: sizes.corners.map((p) => toOriginal(nearest(p), photo)) as Quad,
    widths: across(sizes.widths, widthEndsMm),
    heights: across(sizes.heights, heightEndsMm),
    widthMm,
    heightMm,
    areaMm2: measured(
      sizes.area,
      sizes.area *
        Math.hypot(
          relative(widthMm) + relative(heightMm),
          (endMm * 2 * (widthMm.value + heightMm.value)) / sizes.area / 4,
        ),
    ),
    angles: sizes.anglesDeg.map((angle, i) => ({
      cornerPx: toOriginal(nearest(sizes.corners[i]!), photo),
      angleDeg: measured(
        angle,
        Math.hypot(
          0.4,
          ((180 / Math.PI) * 2 * Math.max(endMm, sizes.wave)) /
            (0.3 * Math.min(widthMm.value, heightMm.value)),
        ),
      ),
    })),
    widerAtTopPercent: measured(taper, gradientBy(endMm)),
    edgeWaveMm: sizes.wave,
    clearShare,
    advice: codes.map((code) => ({ code, message: WORDS[code] })),
  };
}

interface Flat {
  toMm: ReturnType<typeof planeOf>;
  contourMm: Point[];
  sizes: OutlineSizes;
  /** Decoded px of the outline's point nearest to a place, mm. */
  nearest: (p: Point) => Point;
  onPx: (found: OutlineSizes['widths']) => ChordPx[];
}

/** The outline by a scale, and its sizes; null where it is not four-sided. */
function flatten(
  photo: DecodedPhoto,
  scale: Scale,
  stitchWidthMm: number | null,
  pointsPx: readonly Point[],
): Flat | null {
  const toMm = planeOf(photo, scale, stitchWidthMm, [...pointsPx]);
  const contourMm = pointsPx.map(toMm.at);
  let sizes: OutlineSizes;
  try {
    sizes = outlineSizes(contourMm);
  } catch {
    return null;
  }
  const back = new Map(contourMm.map((p, i) => [p, pointsPx[i]!]));
  const nearest = (p: Point): Point => {
    const known = back.get(p);
    if (known) return known;
    let best = 0;
    let least = Infinity;
    contourMm.forEach((q, i) => {
      const d = (q.x - p.x) ** 2 + (q.y - p.y) ** 2;
      if (d < least) {
        least = d;
        best = i;
      }
    });
    return pointsPx[best]!;
  };
  const onPx = (found: OutlineSizes['widths']): ChordPx[] =>
    found.map(({ at, ends }) => ({ at, from: nearest(ends[0]), to: nearest(ends[1]) }));
  return { toMm, contourMm, sizes, nearest, onPx };
}

/** Fewer parts of the cloth with stitches say nothing of how they change. */
const LEAST_STITCH_PLACES = 10;

/**
 * A tape's scale held against the piece's sides, which are more or less as long as each other, against its stitches, which are
 * more or less alike, and against lines of the table, which may be parallel.
 */
function holdScale(
  scale: Scale,
  flat: Flat,
  input: MeasureOutlineInput,
  pointsPx: readonly Point[],
): Scale | null {
  const { photo, stitches, stitchWidthMm } = input;
  const size = photo.rgb;
  const ofPiece = pieceSigns(scale, flat, size, stitches ?? null);
  const rough = scale.heldAgainst?.(ofPiece.looks, ofPiece.beliefs) ?? null;
  const near = rough && flatten(photo, rough, stitchWidthMm, pointsPx);
  if (!near) return rough;
  // Which lines are parallel is told by a plane that is nearly right.
  const unitMm = sizeMm(near.sizes);
  const lines = linesBeside(size, [pointsPx, scale.outlinePx]);
  const ofTable = familiesOf(lines, rough, size, unitMm).flatMap((f) => parallelSigns(f, size, unitMm) ?? []);
  if (ofTable.length === 0) return rough;
  const all = signsTogether([ofPiece, ...ofTable]);
  return scale.heldAgainst?.(all.looks, all.beliefs) ?? rough;
}

function pieceSigns(
  scale: Scale,
  { sizes, onPx }: Flat,
  size: PictureSize,
  stitches: StitchesSeen | null,
): Signs {
  const widths = onPx(sizes.widths);
  const sides = sidesAlike(widths, onPx(sizes.heights), size);
  const endShare = sizes.wave / smallerOf(sizes);
  if (!stitches || stitches.places.length < LEAST_STITCH_PLACES)
    return { looks: sides, beliefs: sidesBelief(endShare) };
  const { places, isPlain } = stitches;
  const [from, to] = [widths[0]!.from, widths[0]!.to].map((p) => pxToMm(scale, p, size)) as [Point, Point];
  const { direction } = stitchChanges(places, scale, size, 1, 1);
  const alongWidth =
    Math.abs(direction.x * (to.x - from.x) + direction.y * (to.y - from.y)) >
    Math.SQRT1_2 * distance(from, to);
  const [widthMm, heightMm] = [sizes.widths, sizes.heights].map(meanLength) as [number, number];
  const [alongMm, acrossMm] = alongWidth ? [widthMm, heightMm] : [heightMm, widthMm];
  const { seen } = stitchChanges(places, scale, size, alongMm, acrossMm);
  return {
    looks: (by) => {
      const found = stitchChanges(places, by, size, alongMm, acrossMm);
      return [...sides(by), found.stitchesAlong, found.rowsAlong, found.rowsAcross];
    },
    beliefs: sidesBelief(endShare, { alongWidth, isPlain, seen }),
  };
}

const meanLength = (found: OutlineSizes['widths']): number => meanOf(found.map(({ length }) => length));

/** The larger of the mean width and the mean height. */
const sizeMm = ({ widths, heights }: OutlineSizes): number =>
  Math.max(meanLength(widths), meanLength(heights));

/** Of the mean width and the mean height. */
const smallerOf = ({ widths, heights }: OutlineSizes): number =>
  Math.min(meanLength(widths), meanLength(heights));

const longSide = (photo: DecodedPhoto): number => Math.max(photo.rgb.widthPx, photo.rgb.heightPx);

function refused(code: Code): PieceOutline {
  const advice: Advice[] = [{ code, message: WORDS[code] }];
  return {
    status: 'refused',
    contourMm: [],
    contourPx: [],
    cornersPx: null,
    widths: [],
    heights: [],
    widthMm: null,
    heightMm: null,
    areaMm2: null,
    angles: [],
    widerAtTopPercent: null,
    edgeWaveMm: null,
    clearShare: 0,
    advice,
  };
}

const toOriginal = (p: Point, photo: DecodedPhoto): Point => ({
  x: (p.x + 0.5) / photo.decodeScale - 0.5,
  y: (p.y + 0.5) / photo.decodeScale - 0.5,
});

/** A blanket may have a sheet of paper's shape; a sheet beside a blanket does not fill the middle of the picture. */
function looksLikeThePiece(outline: Point[], photo: DecodedPhoto): boolean {
  const { widthPx, heightPx } = photo.rgb;
  const share = Math.abs(signedArea(outline)) / (widthPx * heightPx);
  return share > 0.12 && contains(outline, { x: widthPx / 2, y: heightPx / 2 });
}

/**
 * Decoded px → mm with the picture's right as x, at the height of the cloth: by how wide its stitches are where they were read,
 * and by whether the reference lies within the piece's outline.
 */
function planeOf(photo: DecodedPhoto, scale: Scale, stitchWidthMm: number | null, outlinePx: Point[]) {
  const known = knowWorkHeight(scale, stitchWidthMm, outlinePx);
  const raw = (p: Point) => pxToMm(scale, p, photo.rgb);
  const centre = pictureCentre(photo.rgb);
  const a = raw(centre);
  const b = raw({ x: centre.x + 1, y: centre.y });
  const length = distance(a, b);
  const c = ((b.x - a.x) / length) * known.factor;
  const s = ((b.y - a.y) / length) * known.factor;
  return {
    at: (p: Point): Point => {
      const q = raw(p);
      return { x: c * q.x + s * q.y, y: -s * q.x + c * q.y };
    },
    mmPerPx: length * known.factor,
    relativeUncertainty: known.relativeUncertainty,
  };
}

/** The longest stretch of the outline without a point, as a share of all of it. */
function longestGap(points: Point[]): number {
  const steps = points.map((p, i) => distance(p, points[(i + 1) % points.length]!));
  return Math.max(...steps) / steps.reduce((sum, s) => sum + s, 0);
}
