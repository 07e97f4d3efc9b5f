import type { MeasureOptions, Measurement } from '../../vision/measurement.ts';
import type { Point } from '../../vision/types.ts';

/** Things whose size everybody knows, for marking the scale by hand; millimetres. */
export const KNOWN_RECTANGLES = {
  card: { widthMm: 85.6, heightMm: 53.98 }, // ISO/IEC 7810 ID-1
  a4: { widthMm: 297, heightMm: 210 }, // ISO 216
  a5: { widthMm: 210, heightMm: 148 }, // ISO 216
  letter: { widthMm: 279.4, heightMm: 215.9 }, // ASME Y14.1
} as const;
export type KnownRectangle = keyof typeof KNOWN_RECTANGLES;
const KNOWN = Object.keys(KNOWN_RECTANGLES) as KnownRectangle[];

export type Quad = [Point, Point, Point, Point];
export type Pair = [Point, Point];

/** What the maker is putting right, with the marks where she has dragged them. */
export type Correction =
  | { about: 'nothing' }
  | { about: 'scale-rectangle'; what: KnownRectangle; cornersPx: Quad }
  | { about: 'scale-length'; lengthMm: number | null; pointsPx: Pair }
  | { about: 'area'; cornersPx: Quad }
  | { about: 'count'; axis: 'stitches' | 'rows'; count: number; pointsPx: Pair };

const middleOf = (points: Point[]): Point => ({
  x: points.reduce((sum, p) => sum + p.x, 0) / points.length,
  y: points.reduce((sum, p) => sum + p.y, 0) / points.length,
});

/** Four corners that hold the polygon: its extremes along both diagonals, which keeps a turned quadrilateral turned. */
export function quadAround(points: Point[]): Quad | null {
  if (points.length < 3) return null;
  const extreme = (score: (p: Point) => number) =>
    points.reduce((best, p) => (score(p) > score(best) ? p : best));
  const quad: Quad = [
    extreme((p) => -p.x - p.y),
    extreme((p) => p.x - p.y),
    extreme((p) => p.x + p.y),
    extreme((p) => p.y - p.x),
  ];
  return new Set(quad).size === 4 ? quad : boxOf(points);
}

function boxOf(points: Point[]): Quad {
  const xs = points.map((p) => p.x);
  const ys = points.map((p) => p.y);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  return [
    { x: x0, y: y0 },
    { x: x1, y: y0 },
    { x: x1, y: y1 },
    { x: x0, y: y1 },
  ];
}

function shareOfPhoto(photo: Measurement['photo'], from: number, to: number): Quad {
  return boxOf([
    { x: photo.widthPx * from, y: photo.heightPx * from },
    { x: photo.widthPx * to, y: photo.heightPx * to },
  ]);
}

function acrossPhoto(photo: Measurement['photo']): Pair {
  const y = photo.heightPx / 2;
  return [
    { x: photo.widthPx * 0.35, y },
    { x: photo.widthPx * 0.65, y },
  ];
}

/** Where the marks of a correction start: on what was found, or in plain sight when nothing was. */
export function startCorrection(about: Correction['about'], measurement: Measurement): Correction {
  const { photo, scale, overlay } = measurement;
  switch (about) {
    case 'scale-rectangle':
      return {
        about,
        what: KNOWN.find((known) => known === scale?.variety) ?? 'card',
        cornersPx: (scale && quadAround(scale.outlinePx)) ?? shareOfPhoto(photo, 0.3, 0.6),
      };
    case 'scale-length': {
      const quad = (scale && quadAround(scale.outlinePx)) ?? shareOfPhoto(photo, 0.3, 0.6);
      return { about, lengthMm: null, pointsPx: [quad[0], quad[1]] };
    }
    case 'area':
      return {
        about,
        cornersPx: (overlay && quadAround(overlay.fabricOutlinePx)) ?? shareOfPhoto(photo, 0.25, 0.75),
      };
    case 'count':
      return {
        about,
        axis: 'stitches',
        count: 10,
        pointsPx: countSpan('stitches', 10, measurement) ?? acrossPhoto(photo),
      };
    default:
      return { about: 'nothing' };
  }
}

/** Two marks `count` stitches (or rows) apart by the lattice found, around the fabric's middle. */
export function countSpan(axis: 'stitches' | 'rows', count: number, measurement: Measurement): Pair | null {
  const { lattice, overlay } = measurement;
  if (!lattice || !overlay) return null;
  const around = middleOf(overlay.fabricOutlinePx);
  const pitch = axis === 'stitches' ? lattice.stitchPitchPx : lattice.rowPitchPx;
  const angle = ((axis === 'stitches' ? lattice.stitchAngleDeg : lattice.rowAngleDeg) * Math.PI) / 180;
  const half = { x: (Math.cos(angle) * pitch * count) / 2, y: (Math.sin(angle) * pitch * count) / 2 };
  return [
    { x: around.x - half.x, y: around.y - half.y },
    { x: around.x + half.x, y: around.y + half.y },
  ];
}

/**
 * The options that measure again with a correction: earlier corrections of other kinds stay in force.
 * Returns null while something is missing (the length between two marks).
 */
export function withCorrection(options: MeasureOptions, correction: Correction): MeasureOptions | null {
  switch (correction.about) {
    case 'nothing':
      return options;
    case 'scale-rectangle': {
      const known = KNOWN_RECTANGLES[correction.what];
      const [a, b, , d] = correction.cornersPx;
      const alongTop = Math.hypot(b.x - a.x, b.y - a.y);
      const alongSide = Math.hypot(d.x - a.x, d.y - a.y);
      const [widthMm, heightMm] =
        alongTop >= alongSide ? [known.widthMm, known.heightMm] : [known.heightMm, known.widthMm];
      return {
        ...options,
        reference: 'manual',
        manual: { type: 'rectangle', cornersPx: correction.cornersPx, widthMm, heightMm },
      };
    }
    case 'scale-length':
      if (correction.lengthMm === null) return null;
      return {
        ...options,
        reference: 'manual',
        manual: { type: 'two-points', pointsPx: correction.pointsPx, lengthMm: correction.lengthMm },
      };
    case 'area':
      return { ...options, regionPx: correction.cornersPx };
    case 'count': {
      const others = (options.corrections ?? []).filter((one) => one.axis !== correction.axis);
      const { axis, count, pointsPx } = correction;
      return { ...options, corrections: [...others, { axis, count, pointsPx }] };
    }
  }
}

/** True when anything the maker marked is in force. */
export function hasCorrections(options: MeasureOptions): boolean {
  return Boolean(options.manual ?? options.regionPx ?? options.corrections?.length);
}

/** The options without anything that the maker marked: what else was said (stitch, yarn, plan, outline) stays. */
export function withoutCorrections(options: MeasureOptions): MeasureOptions {
  const { manual: _manual, regionPx: _regionPx, corrections: _corrections, reference, ...told } = options;
  return reference === undefined || reference === 'manual' ? told : { ...told, reference };
}
