import { copyPart, type PicturePart } from '../luma.ts';
import { seenPart } from '../seenPart.ts';
import type { DecodedPhoto, Matrix3, Point } from '../types.ts';
import { applyHomography, centroid, distance, mix, signedArea, type Quad } from './geometry.ts';
import { homographyFrom } from './homographyFrom.ts';
import {
  FIDUCIAL_MM,
  sheetLayout,
  SHEET_PAGES,
  type SheetFiducial,
  type SheetLayout,
} from './sheetLayout.ts';

/** One of the sheet's black squares where it is seen. */
export interface SeenFiducial {
  layout: SheetLayout;
  fiducial: SheetFiducial;
  /** Its corners in the picture, in the order of `fiducial.cornersMm`. */
  corners: Quad;
}

/** Outlines of paper lie off by this share of the long side, nearly always. */
const OUTLINE_OFF = 0.025;
/** Cells of a square with the paper around it. */
const CELLS = 10;
/** A square is there where picture and print go together so much (correlation of all cells). */
const LEAST_LIKENESS = 0.6;
/**
 * How well the codes' own cells go with the picture, in the mean of all squares: 0 ± 0.05 for a sheet that lies another
 * way round or has no codes, 0.4 and more for squares too blurred for any code to be read alone.
 */
const LEAST_CODE_LIKENESS = 0.3;
/** So many squares do not lie on one side of the sheet. */
const LEAST_SQUARES = 6;
/** A square is where the others say, to this share of its side. */
const MOST_OFF = 0.2;

/** Where a sheet may lie, decoded px: the outline of the page, or the middles of the squares in the ring's corners. */
export interface SheetPlace {
  of: 'page' | 'ring';
  quad: Quad;
}

/**
 * Finds the squares of our printed sheet where one may lie: small or blurred, none of their codes may be readable
 * alone, but all together they say which way round the sheet lies, and which sheet it is.
 *
 * @returns the squares, with corners to about a tenth of their side; none where this is no sheet of ours
 */
export function fiducialsTogether(photo: DecodedPhoto, places: readonly SheetPlace[]): SeenFiducial[] {
  let best: Found | null = null;
  for (const place of places) {
    const [a, b, c, d] = place.quad;
    const quad: Quad = signedArea(place.quad) > 0 ? [a, b, c, d] : [a, d, c, b];
    const luma = lumaAbout(photo, quad);
    let likely: Found | null = null;
    for (const page of SHEET_PAGES) {
      const layout = sheetLayout(page);
      const corners = cornersMm(layout, place.of);
      for (let turn = 0; turn < 4; turn++) {
        const pairs = corners.map((mm, i) => ({ mm, px: quad[(i + turn) % 4]! }));
        const found = layOn(luma, layout, homographyFrom(pairs), 'as far as outlines are off');
        if (found && found.codeLikeness > (likely?.codeLikeness ?? 0)) likely = found;
      }
    }
    const found = likely && layOn(luma, likely.layout, likely.mmToPx, 'close by');
    if (found && found.codeLikeness > (best?.codeLikeness ?? LEAST_CODE_LIKENESS)) best = found;
  }
  if (!best) return [];
  const { layout, mmToPx } = best;
  return best.fiducials.map((fiducial) => ({
    layout,
    fiducial,
    corners: fiducial.cornersMm.map((mm) => applyHomography(mmToPx, mm)) as Quad,
  }));
}

function cornersMm({ widthMm, heightMm, fiducials }: SheetLayout, of: SheetPlace['of']): Quad {
  const middles = fiducials.map((one) => middleOf(one.cornersMm));
  const [left, right, top, bottom] =
    of === 'page'
      ? [0, widthMm, 0, heightMm]
      : [
          Math.min(...middles.map(({ x }) => x)),
          Math.max(...middles.map(({ x }) => x)),
          Math.min(...middles.map(({ y }) => y)),
          Math.max(...middles.map(({ y }) => y)),
        ];
  return [
    { x: left, y: top },
    { x: right, y: top },
    { x: right, y: bottom },
    { x: left, y: bottom },
  ];
}

/** A page laid on the picture, and those of its squares that are seen there. */
interface Found {
  layout: SheetLayout;
  mmToPx: Matrix3;
  fiducials: SheetFiducial[];
  codeLikeness: number;
}

/** The outermost cells, and what a place may be off by, lie within so many times its size. */
const AROUND = 1.3;

type PartLuma = PicturePart & { data: Float32Array };

/** Luma of the place and a little around it. */
function lumaAbout(photo: DecodedPhoto, quad: Quad): PartLuma {
  const middle = centroid(quad);
  const around = quad.map((p) => mix(middle, p, AROUND));
  const part = seenPart(
    photo.gray,
    around.map((p) => p.x),
    around.map((p) => p.y),
  );
  const data = new Float32Array(part.widthPx * part.heightPx);
  copyPart(photo.gray, part, data);
  return { ...part, data };
}

/** Looks for the squares about where the page would have them, and lays it on those that are seen. */
function layOn(
  luma: PartLuma,
  layout: SheetLayout,
  about: Matrix3,
  reach: 'as far as outlines are off' | 'close by',
): Found | null {
  const sidePx = sideOf(layout.fiducials[0]!, about);
  const steps =
    reach === 'close by'
      ? { reachPx: 0.2 * sidePx, stepPx: sidePx / 30 }
      : { reachPx: (OUTLINE_OFF * sidePx * layout.heightMm) / FIDUCIAL_MM, stepPx: sidePx / 10 };
  const seen = layout.fiducials
    .map((fiducial) => lookFor(luma, fiducial, about, steps))
    .filter((one) => one.likeness > LEAST_LIKENESS);
  if (seen.length < LEAST_SQUARES) return null;
  const laidOn = (on: readonly Seen[]): Matrix3 =>
    homographyFrom(on.map(({ fiducial, middle }) => ({ mm: middleOf(fiducial.cornersMm), px: middle })));
  const first = laidOn(seen);
  const sure = seen.filter(
    ({ fiducial, middle }) =>
      distance(applyHomography(first, middleOf(fiducial.cornersMm)), middle) < MOST_OFF * sidePx,
  );
  if (sure.length < LEAST_SQUARES) return null;
  return {
    layout,
    mmToPx: sure.length < seen.length ? laidOn(sure) : first,
    fiducials: sure.map(({ fiducial }) => fiducial),
    codeLikeness: sure.reduce((sum, one) => sum + one.codeLikeness, 0) / sure.length,
  };
}

const middleOf = ([a, , c]: Quad): Point => ({ x: (a.x + c.x) / 2, y: (a.y + c.y) / 2 });

function sideOf({ cornersMm: [a, b] }: SheetFiducial, mmToPx: Matrix3): number {
  return distance(applyHomography(mmToPx, a), applyHomography(mmToPx, b));
}

interface Seen {
  fiducial: SheetFiducial;
  middle: Point;
  /** Correlation of the picture with print and paper, all cells, and the code's own. */
  likeness: number;
  codeLikeness: number;
}

/** Where, near its place, the picture looks most like a square. */
function lookFor(
  luma: PartLuma,
  fiducial: SheetFiducial,
  mmToPx: Matrix3,
  { reachPx, stepPx }: { reachPx: number; stepPx: number },
): Seen {
  const [corner] = fiducial.cornersMm;
  const cellMm = FIDUCIAL_MM / 8;
  const expected = new Float64Array(CELLS * CELLS).fill(1);
  const x = new Float64Array(CELLS * CELLS);
  const y = new Float64Array(CELLS * CELLS);
  const code: number[] = [];
  for (let row = 0, i = 0; row < CELLS; row++)
    for (let column = 0; column < CELLS; column++, i++) {
      const px = applyHomography(mmToPx, {
        x: corner.x + (column - 0.5) * cellMm,
        y: corner.y + (row - 0.5) * cellMm,
      });
      x[i] = px.x;
      y[i] = px.y;
      const inside = fiducial.cells[row - 1]?.[column - 1];
      if (inside !== undefined) expected[i] = inside;
      if (Math.min(row, column) > 1 && Math.max(row, column) < CELLS - 2) code.push(i);
    }
  const all = Array.from(x, (_, i) => i);
  const values = new Float64Array(CELLS * CELLS);
  const best = { dx: 0, dy: 0, likeness: -1, codeLikeness: 0 };
  const steps = Math.max(1, Math.round(reachPx / stepPx));
  for (let j = -steps; j <= steps; j++)
    for (let i = -steps; i <= steps; i++) {
      const [dx, dy] = [i * stepPx, j * stepPx];
      for (let k = 0; k < values.length; k++) values[k] = lumaAt(luma, x[k]! + dx, y[k]! + dy);
      const likeness = correlation(values, expected, all);
      if (likeness > best.likeness)
        Object.assign(best, { dx, dy, likeness, codeLikeness: correlation(values, expected, code) });
    }
  const middle = applyHomography(mmToPx, middleOf(fiducial.cornersMm));
  return {
    fiducial,
    middle: { x: middle.x + best.dx, y: middle.y + best.dy },
    likeness: best.likeness,
    codeLikeness: best.codeLikeness,
  };
}

/** Pearson's correlation over some of the cells; 0 where one of both does not vary. */
function correlation(a: Float64Array, b: Float64Array, at: readonly number[]): number {
  let [sa, sb, aa, bb, ab] = [0, 0, 0, 0, 0];
  for (const i of at) {
    sa += a[i]!;
    sb += b[i]!;
    aa += a[i]! * a[i]!;
    bb += b[i]! * b[i]!;
    ab += a[i]! * b[i]!;
  }
  const n = at.length;
  const spread = Math.sqrt((n * aa - sa * sa) * (n * bb - sb * sb));
  return spread > 1e-6 ? (n * ab - sa * sb) / spread : 0;
}

function lumaAt({ leftPx, topPx, widthPx, heightPx, data }: PartLuma, x: number, y: number): number {
  const cx = Math.min(widthPx - 1.001, Math.max(0, x - leftPx));
  const cy = Math.min(heightPx - 1.001, Math.max(0, y - topPx));
  const [i, j] = [Math.floor(cx), Math.floor(cy)];
  const at = j * widthPx + i;
  const upper = data[at]! + (cx - i) * (data[at + 1]! - data[at]!);
  const lower = data[at + widthPx]! + (cx - i) * (data[at + widthPx + 1]! - data[at + widthPx]!);
  return upper + (cy - j) * (lower - upper);
}
