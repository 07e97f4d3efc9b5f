import type { Advice, Measured, Point } from '../types.ts';

/** A width at a height of the piece, or a height at a width of it. */
export interface SizeAcross {
  /** Share of the way: from the bottom edge (0) to the top (1), or from the left edge (0) to the right (1). */
  at: number;
  lengthMm: Measured;
  /** Where it was taken, original pixels. */
  endsPx: [Point, Point];
}

/** The angle inside one corner of the piece. */
export interface CornerAngle {
  cornerPx: Point;
  angleDeg: Measured;
}

/**
 * How large a whole piece is. Width runs along whichever pair of edges lies more nearly level in the picture;
 * corners go top left, top right, bottom right, bottom left.
 */
export interface PieceOutline {
  status: 'ok' | 'unsure' | 'refused';
  /** Closed outline, clockwise, in the plane of the work (mm) and in the original photo (px). Empty when refused. */
  contourMm: Point[];
  contourPx: Point[];
  cornersPx: [Point, Point, Point, Point] | null;
  /** At seven heights, and at seven widths. */
  widths: SizeAcross[];
  heights: SizeAcross[];
  /** Means of those. */
  widthMm: Measured | null;
  heightMm: Measured | null;
  areaMm2: Measured | null;
  angles: CornerAngle[];
  /** Width of the top less that of the bottom, over the mean width, per cent: positive when it widens upward. */
  widerAtTopPercent: Measured | null;
  /** Standard deviation of the edges about smooth lines, mm: how wavy they are. */
  edgeWaveMm: number | null;
  /** Share of the outline where cloth and table differ clearly. */
  clearShare: number;
  advice: Advice[];
}
