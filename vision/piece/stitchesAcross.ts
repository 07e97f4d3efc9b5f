import type { LatticeFit } from '../fitLattice.ts';
import { pxToMm, type PictureSize } from '../scale/lens.ts';
import type { ScaledBy } from '../scale/ruler/heldPlanes.ts';
import type { Point } from '../types.ts';

/** One stitch and one row of the cloth at a place. */
export interface StitchPlace {
  /** Decoded px. */
  at: Point;
  /** From a stitch to the next along its row, decoded px. */
  stitch: Point;
  /** From a row to the next along its column, decoded px. */
  row: Point;
  weight: number;
}

/** What was read of a piece's stitches, from however far. */
export interface StitchesSeen {
  places: StitchPlace[];
  /** Whether rows are surely rows: from afar they may have been taken for columns. */
  isPlain: boolean;
}

const PARTS = 6;
/** Fewer places of a part's lattice say nothing of it. */
const LEAST_PLACES = 12;

/** Stitches and rows in up to 36 parts of what was read, each in its middle. */
export function stitchPlaces(lattice: LatticeFit, toDecoded: (p: Point) => Point): StitchPlace[] {
  const known = lattice.places.map(({ x, y, trust }) => ({
    x,
    y,
    trust,
    s: lattice.stitchPhaseAt(x, y),
    r: lattice.rowPhaseAt(x, y),
  }));
  const partOf = (values: readonly number[]): ((v: number) => number) => {
    const low = values.reduce((a, v) => Math.min(a, v), Infinity);
    const high = values.reduce((a, v) => Math.max(a, v), -Infinity);
    return (v) => Math.min(PARTS - 1, Math.floor((PARTS * (v - low)) / (high - low || 1)));
  };
  const along = partOf(known.map(({ s }) => s));
  const across = partOf(known.map(({ r }) => r));
  const parts = new Map<number, typeof known>();
  for (const place of known) {
    const part = PARTS * across(place.r) + along(place.s);
    const others = parts.get(part);
    if (others) others.push(place);
    else parts.set(part, [place]);
  }
  return [...parts.values()].flatMap((part) => {
    const weight = part.reduce((sum, { trust }) => sum + trust, 0);
    if (part.length < LEAST_PLACES || !(weight > 0)) return [];
    const x = part.reduce((sum, p) => sum + p.trust * p.x, 0) / weight;
    const y = part.reduce((sum, p) => sum + p.trust * p.y, 0) / weight;
    const cell = lattice.cellAt(x, y);
    const at = toDecoded({ x, y });
    const step = (angleDeg: number, length: number): Point => {
      const a = (angleDeg * Math.PI) / 180;
      const p = toDecoded({ x: x + length * Math.cos(a), y: y + length * Math.sin(a) });
      return { x: p.x - at.x, y: p.y - at.y };
    };
    const slant = Math.abs(Math.sin(((cell.rowAngleDeg - cell.stitchAngleDeg) * Math.PI) / 180));
    return [
      {
        at,
        stitch: step(cell.stitchAngleDeg, cell.stitchPitchPx),
        row: step(cell.rowAngleDeg, cell.rowPitchPx / Math.max(0.3, slant)),
        weight,
      },
    ];
  });
}

/** How stitches and rows change over a piece by one way of scaling its picture. */
export interface StitchChanges {
  /** Change of the width of stitches along their rows, as a share, from one end of the piece to the other. */
  stitchesAlong: number;
  /** The same of the height of rows, along the rows and from row to row. */
  rowsAlong: number;
  rowsAcross: number;
  /** Direction of the rows, mm, unit length. */
  direction: Point;
  /** How much of the piece was read along its rows and across them, 0…1. */
  seen: [along: number, across: number];
}

/**
 * How the width of stitches and the height of rows change over a piece. Seen aslant by what is not known of the plane,
 * lengths across the lean shrink with the distance, and those along it by its square.
 *
 * @param alongMm how long the piece's rows are, and `acrossMm` what it measures across them
 */
export function stitchChanges(
  places: readonly StitchPlace[],
  by: ScaledBy,
  size: PictureSize,
  alongMm: number,
  acrossMm: number,
): StitchChanges {
  const flat = places.map(({ at, stitch, row, weight }) => {
    const p = pxToMm(by, at, size);
    const step = (d: Point): Point => {
      const q = pxToMm(by, { x: at.x + d.x, y: at.y + d.y }, size);
      return { x: q.x - p.x, y: q.y - p.y };
    };
    const [s, r] = [step(stitch), step(row)];
    const width = Math.hypot(s.x, s.y);
    return {
      p,
      s,
      weight,
      width: Math.log(width),
      height: Math.log(Math.abs(s.x * r.y - s.y * r.x) / width),
    };
  });
  const total = flat.reduce((sum, { weight }) => sum + weight, 0);
  const mean = (of: (f: (typeof flat)[number]) => number): number =>
    flat.reduce((sum, f) => sum + f.weight * of(f), 0) / total;
  const [dx, dy] = [mean(({ s }) => s.x), mean(({ s }) => s.y)];
  const length = Math.hypot(dx, dy) || 1;
  const u = { x: dx / length, y: dy / length };
  const centre = { x: mean(({ p }) => p.x), y: mean(({ p }) => p.y) };
  const along = flat.map(({ p }) => (p.x - centre.x) * u.x + (p.y - centre.y) * u.y);
  const across = flat.map(({ p }) => -(p.x - centre.x) * u.y + (p.y - centre.y) * u.x);
  const sum = (a: readonly number[], b: readonly number[]): number =>
    flat.reduce((s, { weight }, i) => s + weight * a[i]! * b[i]!, 0);
  const [aa, ab, bb] = [sum(along, along), sum(along, across), sum(across, across)];
  const slopes = (values: readonly number[]): [number, number] => {
    const middle = flat.reduce((s, { weight }, i) => s + weight * values[i]!, 0) / total;
    const off = values.map((v) => v - middle);
    const [at, bt] = [sum(along, off), sum(across, off)];
    const det = aa * bb - ab * ab;
    return [((at * bb - bt * ab) / det) * alongMm, ((bt * aa - at * ab) / det) * acrossMm];
  };
  const [stitchesAlong] = slopes(flat.map(({ width }) => width));
  const [rowsAlong, rowsAcross] = slopes(flat.map(({ height }) => height));
  // what is spread evenly has a standard deviation of its length ÷ √12
  const share = (squares: number, mm: number): number => Math.min(1, Math.sqrt((12 * squares) / total) / mm);
  return {
    stitchesAlong,
    rowsAlong,
    rowsAcross,
    direction: u,
    seen: [share(aa, alongMm), share(bb, acrossMm)],
  };
}
