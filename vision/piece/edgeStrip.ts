import type { LatticeFit } from '../fitLattice.ts';
import { copyPart, type PicturePart } from '../luma.ts';
import { seenPart } from '../seenPart.ts';
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

/** Where the places of a strip are seen in the photo, px, line by line. */
interface Nodes {
  x: Float64Array;
  y: Float64Array;
}

/** Taken once for all strips: fresh memory costs more than what is done in it. */
let room = new Float32Array(0);

/**
 * Cuts a strip out of the photo: luma, `STRIP.lines` × `STRIP.columns`.
 *
 * @returns null where the edge and what lies beside it are not in the photo
 */
export function cutEdgeStrip(cloth: SeenCloth, place: StripPlace): Float32Array | null {
  const { gray } = cloth;
  const nodes = nodesOf(cloth, place);
  if (!nodes) return null;
  const part = seenPart(gray, nodes.x, nodes.y);
  const size = part.widthPx * part.heightPx;
  if (room.length < size) room = new Float32Array(1.2 * size);
  copyPart(gray, part, room);
  const seen = { ...part, data: room };
  const out = new Float32Array(STRIP.lines * STRIP.columns);
  for (let j = 0; j < NODES - 1; j++) for (let i = 0; i < NODES - 1; i++) fillCell(seen, nodes, [j, i], out);
  return out;
}

function nodesOf({ gray, toGray, lattice }: SeenCloth, place: StripPlace): Nodes | null {
  const isRows = place.axis === 'rows';
  const phaseOf = (p: Point): number =>
    isRows ? lattice.stitchPhaseAt(p.x, p.y) : lattice.rowPhaseAt(p.x, p.y);
  const countOf = (p: Point): number =>
    isRows ? lattice.rowPhaseAt(p.x, p.y) : lattice.stitchPhaseAt(p.x, p.y);
  const far = (p: Point): number => Math.abs(phaseOf(p) - place.along) + Math.abs(countOf(p) - place.edge);
  let from: Point = nearest(lattice.places, far);
  const x = new Float64Array(NODES * NODES);
  const y = new Float64Array(NODES * NODES);
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
      x[j * NODES + i] = at.x;
      y[j * NODES + i] = at.y;
    }
    from = first!;
  }
  return unseen > MOST_UNSEEN * NODES * NODES ? null : { x, y };
}

function nearest<T>(places: readonly T[], far: (place: T) => number): T {
  let best = places[0] as T;
  let least = Infinity;
  for (const place of places) {
    const away = far(place);
    if (away < least) [best, least] = [place, away];
  }
  return best;
}

/** Averages the photo over every pixel of the cell between four nodes, bilinearly, its rim repeated outside. */
function fillCell(
  { leftPx, topPx, widthPx, heightPx, data }: PicturePart & { data: Float32Array },
  { x, y }: Nodes,
  [line, column]: [line: number, column: number],
  out: Float32Array,
): void {
  const a = line * NODES + column;
  const [b, c, d] = [a + 1, a + NODES, a + NODES + 1];
  const samples = (to: number): number =>
    Math.min(MOST_SAMPLES, Math.max(1, Math.round(Math.hypot(x[to]! - x[a]!, y[to]! - y[a]!) / NODE_STEP)));
  const across = samples(b);
  const down = samples(c);
  const [right, bottom] = [widthPx - 1.001, heightPx - 1.001];
  for (let j = 0; j < NODE_STEP * down; j++) {
    const v = (j + 0.5) / (NODE_STEP * down);
    const fromX = x[a]! + v * (x[c]! - x[a]!);
    const fromY = y[a]! + v * (y[c]! - y[a]!);
    const dx = (x[b]! + v * (x[d]! - x[b]!) - fromX) / (NODE_STEP * across);
    const dy = (y[b]! + v * (y[d]! - y[b]!) - fromY) / (NODE_STEP * across);
    let px = fromX - leftPx + dx / 2;
    let py = fromY - topPx + dy / 2;
    let to = (NODE_STEP * line + Math.floor(j / down)) * STRIP.columns + NODE_STEP * column;
    for (let i = 0; i < NODE_STEP; i++, to++) {
      let sum = 0;
      for (let n = 0; n < across; n++, px += dx, py += dy) {
        const cx = px < 0 ? 0 : px > right ? right : px;
        const cy = py < 0 ? 0 : py > bottom ? bottom : py;
        const [u, w] = [cx | 0, cy | 0];
        const at = w * widthPx + u;
        const upper = data[at]! + (cx - u) * (data[at + 1]! - data[at]!);
        const lower = data[at + widthPx]! + (cx - u) * (data[at + widthPx + 1]! - data[at + widthPx]!);
        sum += upper + (cy - w) * (lower - upper);
      }
      out[to]! += sum / (across * down);
    }
  }
}
