import { fitPolynomial } from '../scale/ruler/straightenBand.ts';
import type { Point, RgbImage } from '../types.ts';
import { mapIndexAt, mapToPhoto } from './mapPlaces.ts';
import { frameOf, inFrame, outOfFrame, patchesOf, type Frame } from './patches.ts';
import type { RulerBody } from './rulerBodies.ts';
import { shrinkWhole } from './shrinkWhole.ts';
import { sightPicture, type SightMaps } from './sightPicture.ts';

/**
 * Longer side of the picture looked at, px: from where a whole blanket is in view a tape is 16 to 30 px wide, which the
 * first look at 384 px makes 2 to 4. Of 26 development photos the first sees most of the tape in nine, this one in 24.
 */
const CLOSER_SIDE_PX = 896;
/** Odds from which a place counts. Where stripes of a table beside a tape pass for tape as well, only the higher ones part them. */
const LEAST_ODDS = [0.3, 0.65, 0.9] as const;
/** Smallest patch, px of the map, and how much longer than wide a patch or a line of patches has to be. */
const LEAST_PATCH_PX = 12;
const LEAST_LENGTH_OF_WIDTH = 6;
/** Of a patch by itself, as a finger, a hook or a crease leaves of a tape. */
const LEAST_PART_OF_WIDTH = 2;
const MOST_BODIES = 4;
/** Patches that a line is begun with. */
const MOST_BEGUN = 8;
/** How far from a line carried on, in its widths, another patch still belongs to it, and how far it is carried on, in lengths. */
const ASIDE = 0.6;
const CARRIED_ON = 0.6;

/** A long thin thing, and what the network takes for a tape and for cloth at a place of the photo, decoded px: odds, 0…1. */
export interface TapeBody extends RulerBody {
  oddsAt(p: Point): { tape: number; cloth: number };
}

interface Patch {
  points: Point[];
  lengthPx: number;
  widthPx: number;
}

/**
 * The long thin things among what the network takes for rulers and tapes when it looks at the photo from closer by, longest
 * first. Patches that follow one line are one thing: fingers lie across tapes, and creases and glare divide them.
 *
 * @example
 * const [tape] = await tapeBodies(photo.rgb);
 * tape?.place(0.5, 0); // in the middle of it
 */
export async function tapeBodies(rgb: RgbImage): Promise<TapeBody[]> {
  const { rgb: small, scale } = await shrinkWhole(rgb, CLOSER_SIDE_PX);
  return bodiesOnMap(await sightPicture(small), scale);
}

/** @param scale px of the picture that the maps are of ÷ px of the photo */
export function bodiesOnMap(
  maps: Pick<SightMaps, 'shows' | 'widthPx' | 'heightPx'>,
  scale: number,
): TapeBody[] {
  const { shows, widthPx, heightPx } = maps;
  const oddsAt: TapeBody['oddsAt'] = (p) => {
    const at = mapIndexAt(maps, scale, p);
    return { tape: shows.ruler[at] ?? 0, cloth: shows.cloth[at] ?? 0 };
  };
  const bodies: RulerBody[] = [];
  for (const leastOdds of LEAST_ODDS) {
    const patches = patchesOf((i) => shows.ruler[i]! > leastOdds, widthPx, heightPx, 8);
    const lines = linesOf(patches.filter((p) => p.length >= LEAST_PATCH_PX));
    bodies.push(
      ...lines
        .map((line) => bodyOf(line, scale))
        .filter((body) => !bodies.some((known) => areOne(known, body))),
    );
  }
  return bodies.sort((p, q) => q.lengthPx - p.lengthPx).map((body) => ({ ...body, oddsAt }));
}

/** Whether two bodies lie one on the other, as wide as each other. */
function areOne(a: RulerBody, b: RulerBody): boolean {
  if (Math.abs(Math.log(a.widthPx / b.widthPx)) > 0.4 || Math.abs(Math.log(a.lengthPx / b.lengthPx)) > 0.2)
    return false;
  return [0, 0.25, 0.5, 0.75, 1].every((s) => {
    const p = a.place(s, 0);
    return [b.place(s, 0), b.place(1 - s, 0)].some(
      (q) => Math.hypot(p.x - q.x, p.y - q.y) < 0.1 * a.lengthPx,
    );
  });
}

function linesOf(parts: readonly Point[][]): Line[] {
  const patches = parts.map(measured).filter(isThin);
  patches.sort((p, q) => q.lengthPx - p.lengthPx);
  const used = new Set<Patch>();
  const lines: Line[] = [];
  for (const first of patches.slice(0, MOST_BEGUN)) {
    if (used.has(first) || lines.length >= MOST_BODIES) continue;
    used.add(first);
    let line = lineThrough(first);
    for (let more = true; more;) {
      more = false;
      for (const patch of patches) {
        if (used.has(patch) || !liesAlong(line, patch)) continue;
        used.add(patch);
        line = lineThrough(measured([...line.points, ...patch.points]));
        more = true;
      }
    }
    if (line.length >= LEAST_LENGTH_OF_WIDTH * line.width) lines.push(line);
  }
  return lines;
}

/** How long a patch is along its own direction, and how wide on average. */
function measured(points: Point[]): Patch {
  const frame = frameOf(points);
  let low = Infinity;
  let high = -Infinity;
  for (const p of points) {
    const { x } = inFrame(frame, p);
    low = Math.min(low, x);
    high = Math.max(high, x);
  }
  const lengthPx = high - low + 1;
  return { points, lengthPx, widthPx: points.length / lengthPx };
}

const isThin = (p: Patch): boolean => p.lengthPx >= LEAST_PART_OF_WIDTH * p.widthPx;

/** A line through places of the map: across = at(along) in a turned frame. */
interface Line extends Frame {
  points: Point[];
  from: number;
  to: number;
  length: number;
  width: number;
  at(along: number): number;
  /** The same beyond its ends, where a polynomial of higher degree soon leaves its course. */
  carried(along: number): number;
}

function lineThrough({ points }: Patch): Line {
  const frame = frameOf(points);
  const columns = new Map<number, number[]>();
  for (const p of points) {
    const { x, y } = inFrame(frame, p);
    const column = Math.round(x);
    const list = columns.get(column);
    if (list) list.push(y);
    else columns.set(column, [y]);
  }
  const along = [...columns.keys()].sort((a, b) => a - b);
  const across = along.map((u) => columns.get(u)!.reduce((s, v) => s + v, 0) / columns.get(u)!.length);
  const [from, to] = [along[0]! - 0.5, along[along.length - 1]! + 0.5];
  const degree = to - from > 60 ? 4 : to - from > 25 ? 3 : 1;
  const at = fitPolynomial(along, across, Math.min(degree, along.length - 1));
  // along a bend it is longer, and a cut square to the chord wider, than itself
  let length = 0;
  for (let u = from; u < to; u++) length += Math.hypot(1, at(u + 1) - at(u));
  const carried = fitPolynomial(along, across, Math.min(to - from > 25 ? 2 : 1, along.length - 1));
  return { points, ...frame, from, to, length, width: points.length / length, at, carried };
}

/** Whether another patch lies where a line is carried on, as far as it is. */
function liesAlong(line: Line, patch: Patch): boolean {
  if (patch.widthPx > 2 * line.width || patch.widthPx < 0.3 * line.width) return false;
  const reach = CARRIED_ON * (line.to - line.from);
  let near = 0;
  let on = 0;
  for (const p of patch.points) {
    const { x, y } = inFrame(line, p);
    const beyond = Math.max(0, line.from - x, x - line.to);
    if (beyond > reach) continue;
    near++;
    const slope = (line.carried(x + 1) - line.carried(x - 1)) / 2;
    // it may bend otherwise than it did
    const slack = line.width * (ASIDE + 0.5) + (0.1 * beyond * beyond) / Math.max(30, line.length);
    if (Math.abs(y - line.carried(x)) / Math.hypot(1, slope) < slack) on++;
  }
  return near >= Math.min(LEAST_PATCH_PX, patch.points.length) && on > 0.8 * near;
}

/** The line as a body: even steps along it, from end to end. */
function bodyOf(line: Line, scale: number): RulerBody {
  const steps = Math.max(2, Math.round(2 * (line.to - line.from)));
  const stations: { u: number; s: number }[] = [{ u: line.from, s: 0 }];
  for (let i = 1; i <= steps; i++) {
    const u = line.from + ((line.to - line.from) * i) / steps;
    const last = stations[i - 1]!;
    stations.push({ u, s: last.s + Math.hypot(u - last.u, line.at(u) - line.at(last.u)) });
  }
  const total = stations[steps]!.s;
  const uAt = (share: number): number => {
    const s = share * total;
    let low = 0;
    let high = steps;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (stations[middle]!.s <= s) low = middle;
      else high = middle;
    }
    const [a, b] = [stations[low]!, stations[high]!];
    return a.u + ((b.u - a.u) * (s - a.s)) / (b.s - a.s);
  };
  return {
    lengthPx: (2 * total) / scale,
    widthPx: (2 * line.width) / scale,
    place: (along, across) => {
      const u = uAt(along);
      const slope = (line.at(u + 1) - line.at(u - 1)) / 2;
      const aside = (across * line.width) / 2 / Math.hypot(1, slope);
      return mapToPhoto(outOfFrame(line, { x: u - aside * slope, y: line.at(u) + aside }), scale);
    },
  };
}
