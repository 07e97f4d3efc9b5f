import type { Point } from '../types.ts';

/**
 * Places along a ruler or tape, evenly from end to end, each as its two points on the edges of what was read.
 *
 * @param outlinePx along one edge of the ticks and back along the other, as many points on either
 * @param count how many places, both ends among them
 *
 * @example
 * rulerStations([{ x: 0, y: 0 }, { x: 10, y: 0 }, { x: 10, y: 4 }, { x: 0, y: 4 }], 3)[1]; // [{ x: 5, y: 0 }, { x: 5, y: 4 }]
 */
export function rulerStations(outlinePx: readonly Point[], count: number): [Point, Point][] {
  const half = outlinePx.length / 2;
  const edge = outlinePx.slice(0, half);
  const other = outlinePx.slice(half).reverse();
  return Array.from({ length: count }, (_, i) => [
    alongLine(edge, i / (count - 1)),
    alongLine(other, i / (count - 1)),
  ]);
}

/** The place a share of the way along a line of points, each stretch between two of them counting alike. */
function alongLine(line: readonly Point[], share: number): Point {
  const f = share * (line.length - 1);
  const k = Math.min(line.length - 2, Math.floor(f));
  const [a, b] = [line[k]!, line[k + 1]!];
  return { x: a.x + (f - k) * (b.x - a.x), y: a.y + (f - k) * (b.y - a.y) };
}
