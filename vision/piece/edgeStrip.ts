import type { LatticeFit } from '../fitLattice.ts';
import type { GrayImage, Point } from '../types.ts';

/** A strip across an edge of the cloth, laid straight along the lattice; outside is its first line. */
export const STRIP = {
  lines: 96,
  columns: 96,
  /** Lines for each row (or stitch, at the sides). */
  linesEach: 16,
  /** Columns for each stitch along the edge (or row, along the sides). */
  columnsEach: 12,
  /** The line on which the last row is expected to end. */
  expectedLine: 26,
} as const;

export type CountedAxis = 'stitches' | 'rows';

/** Where a strip lies, in phases of the lattice (turns). */
export interface StripPlace {
  axis: CountedAxis;
  /** Phase of the other wave in the strip's middle. */
  along: number;
  /** Phase at which the last row or stitch is expected to end. */
  edge: number;
  /** Which way it goes outside: 1 where the phase grows outward. */
  outward: 1 | -1;
}

/** What is looked at. */
export interface SeenCloth {
  gray: GrayImage;
  /** Pixel of the picture the lattice was fitted in → pixel of `gray`. */
  toGray(p: Point): Point;
  lattice: Pick<LatticeFit, 'locate' | 'places' | 'stitchPhaseAt' | 'rowPhaseAt'>;
}

/** The way to the photo is smooth: it is worked out at every so many pixels of a strip. */
const NODE_STEP = 12;
const NODES = STRIP.lines / NODE_STEP + 1;
/** Of so many of those places the photo may show nothing. */
const MOST_UNSEEN = 0.1;
/** Finer than this a strip's pixels are not averaged. */
const MOST_SAMPLES = 2;

/**
 * Cuts a strip out of the photo: luma, `STRIP.lines` × `STRIP.columns`.
 *
 * @returns null where the edge and what lies beside it are not in the photo
 */
export function cutEdgeStrip({ gray, toGray, lattice }: SeenCloth, place: StripPlace): Float32Array | null {
  const isRows = place.axis === 'rows';
  const phaseOf = (p: Point): number =>
    isRows ? lattice.stitchPhaseAt(p.x, p.y) : lattice.rowPhaseAt(p.x, p.y);
  const countOf = (p: Point): number =>
    isRows ? lattice.rowPhaseAt(p.x, p.y) : lattice.stitchPhaseAt(p.x, p.y);
  const far = (p: Point): number => Math.abs(phaseOf(p) - place.along) + Math.abs(countOf(p) - place.edge);
  let from: Point = lattice.places.reduce((best, p) => (far(p) < far(best) ? p : best));
  const nodes: Point[] = [];
  let unseen = 0;
  for (let j = NODES - 1; j >= 0; j--) {
    let first: Point | null = null;
    for (let i = 0; i < NODES; i++) {
      const along = place.along + (NODE_STEP * i - STRIP.columns / 2) / STRIP.columnsEach;
      const counted = place.edge + (place.outward * (STRIP.expectedLine - NODE_STEP * j)) / STRIP.linesEach;
      from = isRows ? lattice.locate(along, counted, from) : lattice.locate(counted, along, from);
      first ??= from;
      const at = toGray(from);
      const isSeen = at.x >= 0 && at.y >= 0 && at.x <= gray.widthPx - 1 && at.y <= gray.heightPx - 1;
      // What lies farthest outside only says what the table looks like: the photo's rim may stand for it.
      if (!isSeen && j > 0) unseen++;
      nodes[j * NODES + i] = at;
    }
    from = first!;
  }
  if (unseen > MOST_UNSEEN * NODES * NODES) return null;
  const out = new Float32Array(STRIP.lines * STRIP.columns);
  for (let j = 0; j < NODES - 1; j++)
    for (let i = 0; i < NODES - 1; i++) {
      const k = j * NODES + i;
      fillCell(gray, [nodes[k]!, nodes[k + 1]!, nodes[k + NODES]!, nodes[k + NODES + 1]!], (y, x, luma) => {
        out[(NODE_STEP * j + y) * STRIP.columns + NODE_STEP * i + x] = luma;
      });
    }
  return out;
}

/** Averages the photo over every pixel of a cell between four nodes. */
function fillCell(
  gray: GrayImage,
  [a, b, c, d]: [Point, Point, Point, Point],
  put: (y: number, x: number, luma: number) => void,
): void {
  const samples = (p: Point, q: Point): number =>
    Math.min(MOST_SAMPLES, Math.max(1, Math.round(Math.hypot(q.x - p.x, q.y - p.y) / NODE_STEP)));
  const across = samples(a, b);
  const down = samples(a, c);
  for (let y = 0; y < NODE_STEP; y++)
    for (let x = 0; x < NODE_STEP; x++) {
      let sum = 0;
      for (let n = 0; n < down; n++) {
        const v = (y + (n + 0.5) / down) / NODE_STEP;
        for (let m = 0; m < across; m++) {
          const u = (x + (m + 0.5) / across) / NODE_STEP;
          sum += lumaAt(
            gray,
            (1 - v) * ((1 - u) * a.x + u * b.x) + v * ((1 - u) * c.x + u * d.x),
            (1 - v) * ((1 - u) * a.y + u * b.y) + v * ((1 - u) * c.y + u * d.y),
          );
        }
      }
      put(y, x, sum / (across * down));
    }
}

function lumaAt({ widthPx, heightPx, data }: GrayImage, x: number, y: number): number {
  const cx = Math.min(widthPx - 1.001, Math.max(0, x));
  const cy = Math.min(heightPx - 1.001, Math.max(0, y));
  const i = Math.floor(cx);
  const j = Math.floor(cy);
  const u = cx - i;
  const v = cy - j;
  const at = j * widthPx + i;
  return (
    (1 - v) * ((1 - u) * data[at]! + u * data[at + 1]!) +
    v * ((1 - u) * data[at + widthPx]! + u * data[at + widthPx + 1]!)
  );
}
