import aruco from 'js-aruco2';
import type { Point } from '../types.ts';

/**
 * Where everything lies on the printable measuring sheet: data only, in mm from the page's top-left corner,
 * x to the right, y down. The drawing, the finder and the picture generator all read the same numbers.
 */
export type SheetPage = 'a4' | 'letter';
export const SHEET_PAGES: readonly SheetPage[] = ['a4', 'letter'];

export interface SheetFiducial {
  id: number;
  /** Outer corners of the black square, clockwise from its own top-left. */
  cornersMm: [Point, Point, Point, Point];
  /** 8 × 8 cells, row by row: 0 = black, 1 = paper. The outermost ring is black. */
  cells: number[][];
}

export interface SheetLayout {
  page: SheetPage;
  widthMm: number;
  heightMm: number;
  fiducials: SheetFiducial[];
  /** Squares to lay the work on, or to cut out and look through. */
  windows: { label: string; sideMm: number; cornersMm: [Point, Point, Point, Point] }[];
  /** The line that the maker measures to learn whether the printer shrank the page. */
  checkLine: { fromMm: Point; toMm: Point; lengthMm: number };
  /** Outline of an ID-1 card: a card laid on it shows at once whether the print is true to size. */
  cardOutline: { leftMm: number; topMm: number; widthMm: number; heightMm: number; cornerRadiusMm: number };
  /** Thin lines: the windows' sides and the check line with its end ticks. */
  lines: { fromMm: Point; toMm: Point; strokeMm: number }[];
  /** `atMm` is the left end of the base line. */
  texts: { atMm: Point; heightMm: number; text: string }[];
}

const PAGE_MM: Record<SheetPage, { widthMm: number; heightMm: number }> = {
  a4: { widthMm: 210, heightMm: 297 }, // ISO 216
  letter: { widthMm: 215.9, heightMm: 279.4 }, // ASME Y14.1
};

/** Side of a fiducial's black square; a cell is an eighth of it. */
export const FIDUCIAL_MM = 18;
/** Side of the square ring that the fiducials form; fits the narrower page with a 12 mm margin. */
const RING_MM = 186;
const TOP_MARGIN_MM = 12;
const FIDUCIALS_PER_SIDE = 4;

/**
 * The layout of one page.
 *
 * Fiducials are codes of the open ArUco MIP_36h12 dictionary (S. Garrido-Jurado et al., "Generation of
 * fiducial marker dictionaries using mixed integer linear programming", Pattern Recognition 51, 2016). Each
 * page uses codes of its own, so that one visible fiducial tells which page it is.
 *
 * @example
 * const sheet = sheetLayout('a4');
 * sheet.fiducials[0].cornersMm[0]; // { x: 12, y: 12 }
 */
export function sheetLayout(page: SheetPage): SheetLayout {
  const { widthMm, heightMm } = PAGE_MM[page];
  const ringLeft = (widthMm - RING_MM) / 2;
  const ringTop = TOP_MARGIN_MM;
  const centre = { x: widthMm / 2, y: ringTop + RING_MM / 2 };

  const codes = new aruco.AR.Dictionary('ARUCO_MIP_36h12').codeList;
  const firstId = page === 'a4' ? 0 : 12;
  const fiducials: SheetFiducial[] = ringPositions().map(([column, row], index) => {
    const step = (RING_MM - FIDUCIAL_MM) / (FIDUCIALS_PER_SIDE - 1);
    const id = firstId + index;
    return {
      id,
      cornersMm: square(ringLeft + column * step, ringTop + row * step, FIDUCIAL_MM),
      cells: cellsOf(codes[id]!),
    };
  });

  const windows = [
    { label: '10 × 10 cm', sideMm: 100 },
    { label: '4 × 4 in', sideMm: 101.6 },
  ].map(({ label, sideMm }) => ({
    label,
    sideMm,
    cornersMm: square(centre.x - sideMm / 2, centre.y - sideMm / 2, sideMm),
  }));

  const checkY = ringTop + RING_MM + 8;
  const checkLine = {
    fromMm: { x: centre.x - 50, y: checkY },
    toMm: { x: centre.x + 50, y: checkY },
    lengthMm: 100,
  };
  const cardOutline = {
    leftMm: ringLeft,
    topMm: checkY + 5,
    widthMm: 85.6, // ISO/IEC 7810, ID-1
    heightMm: 53.98,
    cornerRadiusMm: 3.18,
  };

  const lines: SheetLayout['lines'] = [];
  for (const { cornersMm } of windows) {
    cornersMm.forEach((corner, i) =>
      lines.push({ fromMm: corner, toMm: cornersMm[(i + 1) % 4]!, strokeMm: 0.25 }),
    );
  }
  lines.push({ fromMm: checkLine.fromMm, toMm: checkLine.toMm, strokeMm: 0.25 });
  for (const end of [checkLine.fromMm, checkLine.toMm]) {
    lines.push({ fromMm: { x: end.x, y: end.y - 2.5 }, toMm: { x: end.x, y: end.y + 2.5 }, strokeMm: 0.25 });
  }

  const textX = ringLeft + cardOutline.widthMm + 5;
  const textY = cardOutline.topMm + 6;
  const texts = [
    { atMm: { x: centre.x + 53, y: checkY + 1 }, heightMm: 3, text: '100 mm' },
    {
      atMm: { x: centre.x - 49, y: centre.y + 50 - 2 },
      heightMm: 3,
      text: 'inner square 10 × 10 cm, outer 4 × 4 in',
    },
    ...[
      'Print at 100 %, not "fit to page".',
      'Measure the line above with a ruler: it should',
      'be 100 mm. If it is not, type in what it is.',
      'A library or loyalty card fits this outline.',
      'Lay the swatch on the square, or cut the square',
      'out and look through. Keep the page flat and',
      'leave the black squares free.',
    ].map((text, i) => ({ atMm: { x: textX, y: textY + 6.5 * i }, heightMm: 3.6, text })),
  ];

  return { page, widthMm, heightMm, fiducials, windows, checkLine, cardOutline, lines, texts };
}

/** Column and row of each place on the ring, row by row from the top left. */
function ringPositions(): [number, number][] {
  const last = FIDUCIALS_PER_SIDE - 1;
  const places: [number, number][] = [];
  for (let row = 0; row <= last; row++) {
    for (let column = 0; column <= last; column++) {
      if (row === 0 || row === last || column === 0 || column === last) places.push([column, row]);
    }
  }
  return places;
}

function square(leftMm: number, topMm: number, sideMm: number): [Point, Point, Point, Point] {
  return [
    { x: leftMm, y: topMm },
    { x: leftMm + sideMm, y: topMm },
    { x: leftMm + sideMm, y: topMm + sideMm },
    { x: leftMm, y: topMm + sideMm },
  ];
}

function cellsOf(code: string): number[][] {
  const inner = Math.sqrt(code.length);
  const side = inner + 2;
  return Array.from({ length: side }, (_, row) =>
    Array.from({ length: side }, (_, column) => {
      const edge = row === 0 || column === 0 || row === side - 1 || column === side - 1;
      return edge ? 0 : Number(code[(row - 1) * inner + column - 1]);
    }),
  );
}
