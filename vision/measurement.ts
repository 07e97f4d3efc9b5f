/**
 * What one photo gives: the answer of `measurePhoto`, with everything the page draws over the picture.
 * All pixel coordinates here are those of the ORIGINAL photo, upright (EXIF orientation applied).
 */
import type {
  Advice,
  FindScaleOptions,
  Matrix3,
  Measured,
  WholeCount,
  Point,
  ReferenceKind,
  StitchKey,
} from './types.ts';
import type { ExpectedGauge } from './expectedGauge.ts';
import type { PlannedGauge } from './plannedGauge.ts';
import type { PieceOutline } from './piece/pieceOutline.ts';

/** The stages in the order they finish; `onStage` is called with each. */
export const STAGES = ['decode', 'scale', 'rectify', 'fabric', 'lattice', 'gauge', 'overlay'] as const;
export type Stage = (typeof STAGES)[number];

/** "There are `count` stitches (or rows) between these two points." */
export interface CountCorrection {
  axis: 'stitches' | 'rows';
  count: number;
  pointsPx: [Point, Point];
}

export interface MeasureOptions extends Partial<FindScaleOptions> {
  /** The stitch the maker says it is; widens or narrows what the lattice may be. */
  stitch?: StitchKey;
  /** Report the lattice in pixels and do not look for a reference. */
  pixelsOnly?: boolean;
  /** Only read stitches inside this polygon. */
  regionPx?: Point[];
  /** What the maker counted; the lattice snaps to it. */
  corrections?: CountCorrection[];
  /** Stitches per 10 cm that are usual for the yarn or the hook: a soft prior on half and twice the stitches. */
  expectedStitchesPer10cm?: ExpectedGauge;
  /** The gauge that the piece in the photo was planned with: tells halves, doubles and rows taken for columns apart. */
  plannedGauge?: PlannedGauge;
  /** Measure the outline of the whole piece too (`measurePiece`). */
  outline?: boolean;
  /** The piece's four corners as the maker set them, for the outline. */
  cornersPx?: [Point, Point, Point, Point];
}

export interface MeasuredScale {
  kind: ReferenceKind;
  variety: string;
  mmPerPx: number;
  tiltDeg: number;
  relativeUncertainty: number;
  confidence: number;
  outlinePx: Point[];
  homographyPxToMm: Matrix3;
}

export interface Alternative {
  stitchesPer10cm: number | null;
  rowsPer10cm: number | null;
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Relative weights of all alternatives (the chosen one included, first) sum to 1. */
  weight: number;
}

export interface PixelLattice {
  /** Width of one stitch and height of one row at the fabric's centre. */
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Direction of increasing stitch / increasing row, degrees, x axis = 0, clockwise on screen. */
  stitchAngleDeg: number;
  rowAngleDeg: number;
  standardUncertaintyPx: { stitchPitch: number; rowPitch: number };
}

export interface LocalGauge {
  centrePx: Point;
  stitchesPer10cm: number | null;
  rowsPer10cm: number | null;
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Share of the way from the first visible row (0) to the last (1), and likewise across. */
  alongRows: number;
  acrossStitches: number;
  trust: number;
}

export interface Overlay {
  fabricOutlinePx: Point[];
  /** Boundaries between rows, as polylines, bottom first; `rowLines.length - 1` rows lie between them. */
  rowLinesPx: Point[][];
  /** Boundaries between stitches, as polylines, left first. */
  stitchLinesPx: Point[][];
}

export interface Measurement {
  status: 'ok' | 'unsure' | 'refused';
  photo: { widthPx: number; heightPx: number };
  scale: MeasuredScale | null;
  /** null when refused, or in pixels-only mode. */
  gauge: null | { stitchesPer10cm: Measured; rowsPer10cm: Measured };
  lattice: PixelLattice | null;
  /**
   * Whole stitches and rows seen edge to edge; null where an edge is out of the picture. Of a named stitch they are there
   * without a scale, too, which they do not rest on.
   */
  counted: { stitches: WholeCount | null; rows: WholeCount | null };
  /** What the fabric looks like, likeliest first. */
  looksLike: { stitch: StitchKey; weight: number }[];
  alternatives: Alternative[];
  localGauge: LocalGauge[];
  overlay: Overlay | null;
  /** Outline of the whole piece, when it was asked for; null when nothing of known size was found. */
  piece?: PieceOutline | null;
  advice: Advice[];
  timingsMs: Partial<Record<Stage | 'total', number>>;
}
