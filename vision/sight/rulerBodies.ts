import { fitPolynomial } from '../scale/ruler/straightenBand.ts';
import type { Point } from '../types.ts';
import { mapToPhoto } from './mapPlaces.ts';
import { frameOf, inFrame, outOfFrame, patchesOf } from './patches.ts';
import type { Sight } from './sightCards.ts';

/** A ruler or tape, or a part of one, as a long patch of what the network sees; straight or bent. */
export interface RulerBody {
  /** Decoded px. */
  lengthPx: number;
  widthPx: number;
  /** Decoded px at a place from one end (0) to the other (1), and from one long edge (−1) to the other (1). */
  place(along: number, across: number): Point;
}

/** Smallest patch, in shares of the maps' longer side, squared. */
const LEAST_AREA = 0.002;
/** A patch shorter than this for its width tells no direction. */
const LEAST_LENGTH_OF_WIDTH = 3;
const MOST_BODIES = 3;

/**
 * The long patches among what the network takes for rulers and tapes, largest first: their middle lines, fitted as
 * cubics, and how wide they are at each end.
 *
 * @param leastOdds from which a place counts
 * @example
 * const [body] = rulerBodies(await sightThings(photo.rgb), 0.3);
 * body?.place(0.5, 0); // in the middle of a ruler
 */
export function rulerBodies({ maps, scale }: Pick<Sight, 'maps' | 'scale'>, leastOdds: number): RulerBody[] {
  const { widthPx: w, heightPx: h } = maps;
  const { ruler } = maps.shows;
  const longer = Math.max(w, h);
  return patchesOf((i) => ruler[i]! > leastOdds, w, h, 4)
    .filter((p) => p.length > LEAST_AREA * longer * longer)
    .sort((p, q) => q.length - p.length)
    .slice(0, MOST_BODIES)
    .flatMap((p) => bodyOf(p, scale) ?? []);
}

function bodyOf(points: readonly Point[], scale: number): RulerBody | null {
  const frame = frameOf(points);
  const columns = new Map<number, { low: number; high: number }>();
  for (const p of points) {
    const { x, y: across } = inFrame(frame, p);
    const along = Math.round(x);
    const c = columns.get(along);
    columns.set(along, {
      low: Math.min(c?.low ?? across, across),
      high: Math.max(c?.high ?? across, across),
    });
  }
  const at = [...columns.keys()].sort((p, q) => p - q);
  const widths = at.map((u) => columns.get(u)!.high - columns.get(u)!.low + 1);
  const start = at[0]!;
  const length = at[at.length - 1]! - start + 1;
  const width = [...widths].sort((p, q) => p - q)[widths.length >> 1]!;
  if (length < LEAST_LENGTH_OF_WIDTH * width) return null;
  const line = fitPolynomial(
    at,
    at.map((u) => (columns.get(u)!.low + columns.get(u)!.high) / 2),
    3,
  );
  const half = fitPolynomial(
    at,
    widths.map((v) => v / 2),
    1,
  );
  return {
    lengthPx: (2 * length) / scale,
    widthPx: (2 * width) / scale,
    place: (along, across) => {
      const u = start - 0.5 + along * length;
      const slope = (line(u + 1) - line(u - 1)) / 2;
      const aside = (across * half(u)) / Math.hypot(1, slope);
      return mapToPhoto(outOfFrame(frame, { x: u - aside * slope, y: line(u) + aside }), scale);
    },
  };
}
