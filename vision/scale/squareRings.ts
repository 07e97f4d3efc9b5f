import type { Matrix3, Point } from '../types.ts';
import { applyHomography, centroid, distance, type Quad } from './geometry.ts';
import { homographyFrom } from './homographyFrom.ts';
import { FIDUCIAL_MM, sheetLayout } from './sheetLayout.ts';

const [FIRST, SECOND] = sheetLayout('a4').fiducials.map(({ cornersMm }) => cornersMm[0]);
/** From one square to the next, in sides of a square. */
const STEP = (SECOND!.x - FIRST!.x) / FIDUCIAL_MM;
/** Steps along a side of the ring. */
const STEPS = 3;
/** The next square lies where this one says to such a share of a step, and is as large to such a factor. */
const OFF = 0.2;
const UNLIKE = 1.3;
/** So many squares in their places are hardly there by chance, and do not lie on one side of the ring. */
const LEAST_SQUARES = 6;
/** Rings of more squares are tiles. */
const MOST_RINGS = 4;

/**
 * Rings of dark squares such as our printed sheet has: squares of one size, each where its neighbour's sides say that
 * the next one lies.
 *
 * @param squares dark quadrilaterals, clockwise, px
 * @returns of each ring the middles of the four squares in its corners, clockwise, whichever is first
 */
export function squareRings(squares: readonly Quad[]): Quad[] {
  const all = squares.map((quad) => ({ quad, middle: centroid(quad), sidePx: sideOf(quad) }));
  const near = nearestOf(all);
  const done = new Set<Square>();
  const rings: Quad[] = [];
  for (const first of all) {
    if (done.has(first)) continue;
    const cells = [...followed(first, near).values()];
    for (const { square } of cells) done.add(square);
    if (cells.length >= LEAST_SQUARES) rings.push(...ringsOf(cells));
    if (rings.length >= MOST_RINGS) break;
  }
  return rings.slice(0, MOST_RINGS);
}

interface Square {
  quad: Quad;
  middle: Point;
  sidePx: number;
}

interface Cell {
  square: Square;
  column: number;
  row: number;
}

const sideOf = ([a, b, c, d]: Quad): number =>
  (distance(a, b) + distance(b, c) + distance(c, d) + distance(d, a)) / 4;

type Near = (p: Point, reachPx: number, isWanted: (square: Square) => boolean) => Square | null;

/** Looks up the nearest square; a checked cloth has thousands. */
function nearestOf(all: readonly Square[]): Near {
  const boxPx = 50;
  const boxes = new Map<string, Square[]>();
  const boxOf = (v: number): number => Math.floor(v / boxPx);
  for (const one of all) {
    const key = `${boxOf(one.middle.x)},${boxOf(one.middle.y)}`;
    boxes.set(key, [...(boxes.get(key) ?? []), one]);
  }
  return (p, reachPx, isWanted) => {
    let best: Square | null = null;
    let least = reachPx;
    for (let x = boxOf(p.x - reachPx); x <= boxOf(p.x + reachPx); x++)
      for (let y = boxOf(p.y - reachPx); y <= boxOf(p.y + reachPx); y++)
        for (const one of boxes.get(`${x},${y}`) ?? []) {
          const away = distance(one.middle, p);
          if (away < least && isWanted(one)) [best, least] = [one, away];
        }
    return best;
  };
}

/** All squares that can be reached from the first, with the steps that lead there. */
function followed(first: Square, near: Near): Map<string, Cell> {
  const key = (column: number, row: number): string => `${column},${row}`;
  const found = new Map([[key(0, 0), { square: first, column: 0, row: 0 }]]);
  const taken = new Set([first]);
  const [a, b, c, d] = first.quad;
  const half = STEP / 2;
  // One step to the right and one down, as the square's own sides say; from then on as the last step was.
  const along = {
    x: { x: half * (b.x - a.x + c.x - d.x), y: half * (b.y - a.y + c.y - d.y) },
    y: { x: half * (d.x - a.x + c.x - b.x), y: half * (d.y - a.y + c.y - b.y) },
  };
  const open = [{ cell: found.get(key(0, 0))!, along }];
  for (let next = open.shift(); next; next = open.shift()) {
    const { cell, along } = next;
    for (const [axis, way] of [
      ['x', 1],
      ['x', -1],
      ['y', 1],
      ['y', -1],
    ] as const) {
      const column = cell.column + (axis === 'x' ? way : 0);
      const row = cell.row + (axis === 'y' ? way : 0);
      if (found.has(key(column, row)) || Math.max(Math.abs(column), Math.abs(row)) > STEPS) continue;
      const step = along[axis];
      const { middle, sidePx } = cell.square;
      const expected = { x: middle.x + way * step.x, y: middle.y + way * step.y };
      const best = near(
        expected,
        OFF * Math.hypot(step.x, step.y),
        (one) => !taken.has(one) && Math.abs(Math.log(one.sidePx / sidePx)) < Math.log(UNLIKE),
      );
      if (!best) continue;
      taken.add(best);
      const stepped = { x: way * (best.middle.x - middle.x), y: way * (best.middle.y - middle.y) };
      found.set(key(column, row), { square: best, column, row });
      open.push({ cell: found.get(key(column, row))!, along: { ...along, [axis]: stepped } });
    }
  }
  return found;
}

/** Where the corners of a ring are that has these squares; more than one where those of a whole side are missing. */
function ringsOf(cells: readonly Cell[]): Quad[] {
  const toPx: Matrix3 = homographyFrom(
    cells.map(({ square, column, row }) => ({ mm: { x: column, y: row }, px: square.middle })),
  );
  const starts = (values: number[]): number[] => {
    const [low, high] = [Math.min(...values), Math.max(...values)];
    return Array.from({ length: Math.max(0, STEPS - (high - low) + 1) }, (_, i) => low - i);
  };
  const rings: Quad[] = [];
  for (const x of starts(cells.map(({ column }) => column)))
    for (const y of starts(cells.map(({ row }) => row))) {
      const isOnRing = cells.every(({ column, row }) =>
        [column - x, row - y].some((v) => v === 0 || v === STEPS),
      );
      if (!isOnRing) continue;
      rings.push(
        [
          { x, y },
          { x: x + STEPS, y },
          { x: x + STEPS, y: y + STEPS },
          { x, y: y + STEPS },
        ].map((p) => applyHomography(toPx, p)) as Quad,
      );
    }
  return rings;
}
