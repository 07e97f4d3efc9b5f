import type { Looks, LooksBelief } from './scale/ruler/heldPlanes.ts';
import type { Sight } from './sight/sightCards.ts';
/**
 * The shapes that travel through `vision`: pixels in, millimetres with uncertainties out.
 *
 * Coordinates: x to the right, y down, in pixels; the centre of the top-left pixel is (0, 0).
 * "Decoded pixels" are those of the upright, possibly shrunk photo that `decodePhoto` returns.
 */

/** A point; the unit is in the name of the field that holds it (…Px, …Mm). */
export interface Point {
  x: number;
  y: number;
}

/** Row-major 3 × 3 matrix acting on column vectors (x, y, 1). */
export type Matrix3 = [number, number, number, number, number, number, number, number, number];

/** Interleaved 8-bit sRGB, `data.length === 3 * widthPx * heightPx`. */
export interface RgbImage {
  widthPx: number;
  heightPx: number;
  data: Uint8Array;
}

/** One channel, row-major, 0 (black) to 1 (white), `data.length === widthPx * heightPx`. */
export interface GrayImage {
  widthPx: number;
  heightPx: number;
  data: Float32Array;
}

/** One byte a pixel, 0 = outside, 255 = inside. */
export interface MaskImage {
  widthPx: number;
  heightPx: number;
  data: Uint8Array;
}

/** What `decodePhoto` returns: an upright photo at working size. */
export interface DecodedPhoto {
  rgb: RgbImage;
  /** Luma (BT.601 weights on sRGB values), same size as `rgb`. */
  gray: GrayImage;
  originalWidthPx: number;
  originalHeightPx: number;
  /** decoded width ÷ original width, ≤ 1. */
  decodeScale: number;
  /** 35 mm-equivalent focal length from EXIF, mm, when present. A prior only: files lie. */
  focalLength35mm: number | null;
}

export const REFERENCE_KINDS = ['card', 'ruler', 'tape', 'paper', 'sheet', 'manual'] as const;
export type ReferenceKind = (typeof REFERENCE_KINDS)[number];

/** Sheets of paper that give a scale: ISO 216 and ASME Y14.1. */
export const PAPER_SIZES = ['a4', 'a5', 'letter'] as const;
export type PaperSize = (typeof PAPER_SIZES)[number];

/** One piece of advice or warning in the maker's words; `code` is stable, `message` is for people. */
export interface Advice {
  code: string;
  message: string;
}

/**
 * A scale found in a photo: how decoded pixels map to millimetres in the plane of the work.
 */
export interface Scale {
  kind: ReferenceKind;
  /** Which variety: 'id-1', 'a4', 'a5', 'letter', 'sheet-a4', 'metric', 'inch', 'two-points'… */
  variety: string;
  /** Decoded pixels → mm in the plane of the work, up to rotation and shift. */
  homographyPxToMm: Matrix3;
  /** 9 × 9 row-major covariance of the homography's entries (h33 = 1), or null when only the scale is known. */
  homographyCovariance: number[] | null;
  /** mm per decoded pixel at the reference's centre (geometric mean of both axes). */
  mmPerPx: number;
  /** Angle between the camera's axis and the normal of the work's plane, degrees. */
  tiltDeg: number;
  /** Relative standard uncertainty of lengths measured close to the reference (0.004 = 0.4 %). */
  relativeUncertainty: number;
  /** Relative standard uncertainty that adds per reference-length of distance from the reference. */
  relativeUncertaintyPerReferenceLength: number;
  /**
   * How the picture may be scaled otherwise, of a sheet, whose one fit says it; of anything else
   * `relativeUncertaintyPerReferenceLength` does, roughly.
   */
  variations?: ScaleVariation[];
  /**
   * Of a ruler or tape: the same scale held against what else the picture shows, each as it is expected and with how
   * far it may be from that; null where it cannot be. One tape tells hardly how the table leans about it.
   */
  heldAgainst?: (looks: Looks, beliefs: readonly LooksBelief[]) => Scale | null;
  /** Of a tape read from afar: whether it is surely one, and its unit surely that. */
  isSurelyRead?: boolean;
  /** Outline of the reference in decoded pixels (quadrilateral, or the band of a ruler), clockwise. */
  outlinePx: Point[];
  /** Radial distortion k1 (Brown–Conrady, in units of the half-diagonal), when it could be estimated. */
  radialDistortion: number | null;
  /**
   * What was assumed of the height of the work's plane above the reference's face, mm, when it matters: once
   * the stitches are known, their yarn's thickness says more (`knowWorkHeight`).
   */
  workHeight?: {
    meanMm: number;
    sdMm: number;
    /** Height of the reference's face above what it lies on, mm. */
    faceHeightMm: number;
    /** Relative change of mm per px when the work lies 1 mm higher (negative: it looks larger). */
    relativePerMm: number;
    /** Whether the reference lies on the work, where the finder could see it. */
    onCloth?: boolean;
  };
  /** 0…1: how sure the finder is that this thing is what it says. */
  confidence: number;
  advice: Advice[];
}

/**
 * Another way to scale a picture: plane, camera and lens moved within what is known of them. What this does to a length
 * far from the reference, squared, times the weight, summed over all variations, is the variance of that length. The
 * height of the work and the size of the reference are left out: they change all lengths alike.
 */
export interface ScaleVariation {
  /** As in `Scale`. */
  homographyPxToMm: Matrix3;
  radialDistortion: number;
  weight: number;
}

/** Options of `findScale`; `auto` tries every kind and takes the most trustworthy. */
export interface FindScaleOptions {
  reference: 'auto' | Exclude<ReferenceKind, 'manual'> | 'manual';
  /** By hand: two points and their distance, or the four corners of a rectangle of known size. */
  manual?:
    | { type: 'two-points'; pointsPx: [Point, Point]; lengthMm: number }
    | { type: 'rectangle'; cornersPx: [Point, Point, Point, Point]; widthMm: number; heightMm: number };
  /** Printed sheet only: what the maker measured along the 100 mm check line, mm. */
  checkLineMm?: number;
  /** Paper only: which size it is; A4 and A5 have one shape, so that no photo can tell. */
  paperSize?: PaperSize;
}

/** `scale` is null when nothing trustworthy was found; `others` are the runners-up, best first. */
export interface FindScaleResult {
  scale: Scale | null;
  others: Scale[];
  advice: Advice[];
  /** What the whole photo shows, where it was looked at. */
  sight?: Pick<Sight, 'maps' | 'scale'> | null;
}

/** Stitch fabrics the reader knows. Knit names are the trade's; crochet names are US terms. */
export const STITCH_KEYS = [
  'sc',
  'hdc',
  'herringbone-hdc',
  'dc',
  'post-rib',
  'moss',
  'blo-rib',
  'stockinette',
  'reverse-stockinette',
  'garter',
  'rib-1x1',
  'rib-2x2',
  'seed',
] as const;
export type StitchKey = (typeof STITCH_KEYS)[number];

/** A value with its standard uncertainty (GUM) and a 95 % interval. */
export interface Measured {
  value: number;
  standardUncertainty: number;
  low95: number;
  high95: number;
}

/** Whole stitches or rows; `orElse` is the number next to `value` where that one may as well be right. */
export interface WholeCount extends Measured {
  orElse?: number | null;
}
