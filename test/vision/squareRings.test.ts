import { describe, expect, it } from 'vitest';
import { applyHomography, distance, rectangleTo, type Quad } from '../../vision/scale/geometry.ts';
import { sheetLayout } from '../../vision/scale/sheetLayout.ts';
import { squareRings } from '../../vision/scale/squareRings.ts';
import type { Point } from '../../vision/types.ts';

const layout = sheetLayout('a4');
/** A page seen askew and from the side. */
const toPx = rectangleTo(
  [
    { x: 300, y: 100 },
    { x: 560, y: 150 },
    { x: 490, y: 560 },
    { x: 190, y: 470 },
  ],
  layout.widthMm,
  layout.heightMm,
);
const seen = (mm: Point): Point => applyHomography(toPx, mm);
const ours = layout.fiducials.map(({ cornersMm }) => cornersMm.map(seen) as Quad);
const squareAt = (x: number, y: number, side: number): Quad => [
  { x, y },
  { x: x + side, y },
  { x: x + side, y: y + side },
  { x, y: y + side },
];
const first = layout.fiducials[0]!.cornersMm[0];
const corners = [
  [0, 0],
  [168, 0],
  [168, 168],
  [0, 168],
].map(([x, y]) => seen({ x: first.x + 9 + x!, y: first.y + 9 + y! }));

/** How far the farthest of a ring's corners lies from the nearest of the sheet's, px. */
const off = (ring: Quad): number =>
  Math.max(...corners.map((corner) => Math.min(...ring.map((p) => distance(p, corner)))));

describe('squareRings', () => {
  it('finds the ring of the sheet among other squares', () => {
    const others = [squareAt(700, 80, 22), squareAt(735, 300, 31), squareAt(320, 300, 60)];
    const rings = squareRings([...others, ...ours]);
    expect(rings).toHaveLength(1);
    expect(off(rings[0]!)).toBeLessThan(2);
  });

  it('knows where hidden squares would be', () => {
    const rings = squareRings(ours.filter((_, i) => ![0, 5].includes(i)));
    expect(rings).toHaveLength(1);
    expect(off(rings[0]!)).toBeLessThan(2);
  });

  it('takes neither the squares of a chequered cloth nor a few for a ring', () => {
    const chequered = Array.from({ length: 64 }, (_, i) => squareAt(62.2 * (i % 8), 62.2 * (i >> 3), 20));
    expect(squareRings(chequered)).toEqual([]);
    expect(squareRings(ours.slice(0, 4))).toEqual([]);
  });
});
