import { shrink } from '../../shrink.ts';
import type { GrayImage, Point, RgbImage } from '../../types.ts';
import { findSegments, joinCollinear } from '../segments.ts';
import { periodicityOf, type FindSeedsOptions, type Seed } from './findSeeds.ts';
import type { Level } from './halve.ts';

/** A long straight edge, decoded px: that of a ruler or tape, perhaps, where its ticks begin. */
export interface LongEdge {
  middle: Point;
  angle: number;
  lengthPx: number;
}

const SEARCH_SIDE_PX = 640;
/** A scale is long: its edge, or a part of it, spans this share of the picture's longer side. */
const MIN_SHARE = 0.12;
const MAX_EDGES = 40;
/** Most edges of one direction (and the least angle between two directions): stripes and planks have hundreds. */
const MAX_ALIKE = 8;
const DIRECTION_STEP = Math.PI / 18;
/** How far beside an edge ticks are looked for, px of the level: across the shortest ticks of any pitch. */
const ASIDE_PX = [2.5, 6, 10.5, 16];
/** Step along an edge, px of the level: the windows looked at overlap by a third. */
const STEP_PX = 128;

/** The longest straight edges of a picture. */
export function longEdges(rgb: RgbImage): LongEdge[] {
  const { rgb: small, scale } = shrink(rgb, SEARCH_SIDE_PX);
  const least = MIN_SHARE * Math.max(small.widthPx, small.heightPx);
  const segments = joinCollinear(findSegments(small, { minLengthPx: 12, minGradient: 2.2, blurPx: 1 }), 250);
  const alike = new Map<number, number>();
  return segments
    .filter((s) => s.lengthPx > least)
    .sort((p, q) => q.support - p.support)
    .filter((s) => {
      const direction = Math.round((Math.atan2(s.dy, s.dx) + Math.PI) / DIRECTION_STEP) % 18;
      alike.set(direction, (alike.get(direction) ?? 0) + 1);
      return alike.get(direction)! <= MAX_ALIKE;
    })
    .slice(0, MAX_EDGES)
    .map((s) => ({
      middle: {
        x: ((s.a.x + s.b.x) / 2 + 0.5) / scale - 0.5,
        y: ((s.a.y + s.b.y) / 2 + 0.5) / scale - 0.5,
      },
      angle: Math.atan2(s.dy, s.dx),
      lengthPx: s.lengthPx / scale,
    }));
}

/**
 * Places close beside long straight edges where the brightness repeats along the edge, best first, two for each
 * edge at most. Faint ticks on a plain ruler are found so that the many strong lines of a patterned table, or of
 * the cloth, would crowd out of a search of the whole picture.
 */
export function seedsAlongEdges(edges: readonly LongEdge[], level: Level, options: FindSeedsOptions): Seed[] {
  const image: GrayImage = level.image;
  const onLevel = (v: number): number => (v + 0.5) / level.factor - 0.5;
  const seeds: Seed[] = [];
  for (const edge of edges) {
    const dx = Math.cos(edge.angle);
    const dy = Math.sin(edge.angle);
    const lengthPx = edge.lengthPx / level.factor;
    const steps = Math.max(0, Math.round((lengthPx - 192) / 2 / STEP_PX));
    for (const side of [1, -1]) {
      let best: Seed | null = null;
      for (const aside of ASIDE_PX)
        for (let k = -steps; k <= steps; k++) {
          const x = onLevel(edge.middle.x) + k * STEP_PX * dx - side * aside * dy;
          const y = onLevel(edge.middle.y) + k * STEP_PX * dy + side * aside * dx;
          const tickAngle = edge.angle + Math.PI / 2;
          const peak = periodicityOf(image, options, x, y, edge.angle, tickAngle);
          if (peak && (!best || peak.periodicity > best.periodicity))
            best = { x, y, axisAngle: edge.angle, tickAngle, ...peak };
        }
      if (best) seeds.push(best);
    }
  }
  return seeds.sort((p, q) => q.periodicity - p.periodicity);
}
