import { copyPart, type PicturePart } from '../luma.ts';
import { seenPart } from '../seenPart.ts';
import type { DecodedPhoto, Matrix3, Point } from '../types.ts';
import { applyHomography, distance, rectangleTo, signedArea, type Quad } from './geometry.ts';
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

/**
 * Finds the squares of our printed sheet on what may be a sheet of paper: small or blurred, none of their codes may be
 * readable alone, but all together they say which way round the sheet lies, and which sheet it is.
 *
 * @param papers outlines of paper, decoded px
 * @returns the squares, with corners to about a tenth of their side; none where this is no sheet of ours
 */
export function fiducialsOnPaper(photo: DecodedPhoto, papers: readonly Quad[]): SeenFiducial[] {
  let best: Found | null = null;
  for (const paper of papers) {
    const quad = signedArea(paper) > 0 ? paper : ([paper[0], paper[3], paper[2], paper[1]] as Quad);
    const luma = lumaAbout(photo, quad);
    for (const page of SHEET_PAGES) {
      const layout = sheetLayout(page);
      for (let turn = 0; turn < 4; turn++) {
        const turned = [0, 1, 2, 3].map((i) => quad[(i + turn) % 4]!) as Quad;
        const found = layOn(luma, layout, rectangleTo(turned, layout.widthMm, layout.heightMm));
        if (found && found.codeLikeness > (best?.codeLikeness ?? LEAST_CODE_LIKENESS)) best = found;
      }
    }
  }
  return best?.seen ?? [];
}

interface Found {
  seen: SeenFiducial[];
  codeLikeness: number;
}

type PartLuma = PicturePart & { data: Float32Array };

/** Luma of the paper and a little around it. */
function lumaAbout(photo: DecodedPhoto, quad: Quad): PartLuma {
  const part = seenPart(
    photo.gray,
    quad.map((p) => p.x),
    quad.map((p) => p.y),
  );
  const data = new Float32Array(part.widthPx * part.heightPx);
  copyPart(photo.gray, part, data);
  return { ...part, data };
}

/** Looks for the squares where the page would have them: first about as far as outlines are off, then close by. */
function layOn(luma: PartLuma, layout: SheetLayout, mmToPx: Matrix3): Found | null {
  const sidePx = sideOf(layout.fiducials[0]!, mmToPx);
  let h = mmToPx;
  let seen: Seen[] = [];
  for (const { reachPx, stepPx } of [
    { reachPx: (OUTLINE_OFF * sidePx * layout.heightMm) / FIDUCIAL_MM, stepPx: sidePx / 10 },
    { reachPx: 0.2 * sidePx, stepPx: sidePx / 30 },
  ]) {
    seen = layout.fiducials
      .map((fiducial) => lookFor(luma, fiducial, h, { reachPx, stepPx }))
      .filter((one) => one.likeness > LEAST_LIKENESS);
    if (seen.length < LEAST_SQUARES) return null;
    h = homographyFrom(
      seen.map(({ fiducial, middle }) => ({ mm: middleOf(fiducial.cornersMm), px: middle })),
    );
    const sure = seen.filter(
      ({ fiducial, middle }) =>
        distance(applyHomography(h, middleOf(fiducial.cornersMm)), middle) < MOST_OFF * sidePx,
    );
    if (sure.length < LEAST_SQUARES) return null;
    if (sure.length < seen.length)
      h = homographyFrom(
        sure.map(({ fiducial, middle }) => ({ mm: middleOf(fiducial.cornersMm), px: middle })),
      );
    seen = sure;
  }
  return {
    seen: seen.map(({ fiducial }) => ({
      layout,
      fiducial,
      corners: fiducial.cornersMm.map((mm) => applyHomography(h, mm)) as Quad,
    })),
    codeLikeness: seen.reduce((sum, one) => sum + one.codeLikeness, 0) / seen.length,
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
