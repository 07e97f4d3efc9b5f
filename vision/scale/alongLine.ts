import type { Point } from '../types.ts';

/**
 * The place a share of the way along a line of points, each stretch between two of them counting alike.
 *
 * @example
 * alongLine([{ x: 0, y: 0 }, { x: 10, y: 0 }, { x: 10, y: 4 }], 0.75); // { x: 10, y: 2 }
 */
export function alongLine(line: readonly Point[], share: number): Point {
  const f = share * (line.length - 1);
  const k = Math.min(line.length - 2, Math.floor(f));
  const [a, b] = [line[k]!, line[k + 1]!];
  return { x: a.x + (f - k) * (b.x - a.x), y: a.y + (f - k) * (b.y - a.y) };
}
