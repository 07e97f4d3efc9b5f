import { describe, expect, it } from 'vitest';
import { visibleEdges } from '../../vision/scale/visibleEdges.ts';
import type { Quad } from '../../vision/scale/geometry.ts';

const QUAD: Quad = [
  { x: 100, y: 100 },
  { x: 500, y: 100 },
  { x: 500, y: 350 },
  { x: 100, y: 350 },
];
const edges = QUAD.flatMap((from, side) =>
  Array.from({ length: 8 }, (_, k) => {
    const to = QUAD[(side + 1) % 4]!;
    const t = (k + 0.5) / 8;
    return {
      side,
      point: { x: from.x + t * (to.x - from.x), y: from.y + t * (to.y - from.y) },
      sigmaPx: 0.2,
    };
  }),
);

describe('the edges of a card that cloth lies over', () => {
  it('are those that are not under it', () => {
    const seen = visibleEdges(edges, QUAD, (p) => p.x > 420 && p.y > 220);
    expect(seen.every(({ point }) => !(point.x > 430 && point.y > 230))).toBe(true);
    expect(seen.length).toBeGreaterThan(24);
    expect(seen.length).toBeLessThan(edges.length);
  });

  it('are three sides where one is hidden', () => {
    const seen = visibleEdges(edges, QUAD, (p) => p.x > 440);
    expect(new Set(seen.map((e) => e.side))).toEqual(new Set([0, 2, 3]));
  });

  it('are all of them where too little would be left', () => {
    expect(visibleEdges(edges, QUAD, (p) => p.x > 200)).toEqual(edges);
  });
});
