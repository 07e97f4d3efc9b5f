import { describe, expect, it } from 'vitest';
import { fitSides } from '../../vision/scale/edgeFit.ts';
import type { Quad } from '../../vision/scale/geometry.ts';
import { rimEdges } from '../../vision/scale/rimEdges.ts';
import { clothAround } from '../../vision/sight/clothAround.ts';
import type { RgbImage } from '../../vision/types.ts';

const SIZE = { widthPx: 420, heightPx: 300 };
const FACE = { left: 80.3, top: 70.6, right: 340.3, bottom: 230.6 };
const QUAD: Quad = [
  { x: FACE.left, y: FACE.top },
  { x: FACE.right, y: FACE.top },
  { x: FACE.right, y: FACE.bottom },
  { x: FACE.left, y: FACE.bottom },
];
const PX_PER_MM = 5;

/** Linear light → the level that a file holds (IEC 61966-2-1). */
const level = (light: number): number =>
  255 * (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055);

/** A card, dark unless said, on a lighter table, a pale cut side of so many px showing below it; blurred as a lens does. */
function picture(rimPx: number, faceLight = 0.08): RgbImage {
  const { widthPx, heightPx } = SIZE;
  const data = new Uint8Array(3 * widthPx * heightPx);
  const blurPx = 0.8;
  const step = (d: number): number => 1 / (1 + Math.exp(-1.702 * (d / blurPx)));
  const within = (v: number, low: number, high: number): number => step(v - low) * step(high - v);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const across = within(x, FACE.left, FACE.right);
      const face = across * within(y, FACE.top, FACE.bottom);
      const body = across * within(y, FACE.top, FACE.bottom + rimPx);
      const light = faceLight * face + 0.5 * (body - face) + 0.3 * (1 - body);
      data.fill(Math.round(level(light)), 3 * (y * widthPx + x), 3 * (y * widthPx + x) + 3);
    }
  return { ...SIZE, data };
}

/** How far the points of the lower side lie below the face's edge in the mean, px. */
const belowFace = (points: { side: number; point: { y: number } }[]): number => {
  const lower = points.filter((p) => p.side === 2);
  return lower.reduce((sum, p) => sum + p.point.y - FACE.bottom, 0) / lower.length;
};

describe("the edge of a card's face", () => {
  it.each([0, 1, 2])('is found where %i px of its cut side show', (rimPx) => {
    const rgb = picture(rimPx);
    const sides = fitSides(rgb, QUAD, null, { searchPx: 4, insetShare: 0.09 })!;
    const views = [0, 0, rimPx, 0].map((px) => ({ rimPx: px, pxPerMm: PX_PER_MM }));
    expect(Math.abs(belowFace(rimEdges(rgb, QUAD, sides, views)))).toBeLessThan(0.3);
  });

  it('is told from a shade beside it that is wider than the card is thick', () => {
    const blurPx = 0.9;
    const step = (d: number): number => 1 / (1 + Math.exp(-1.702 * (d / blurPx)));
    const [table, card] = [
      [0.55, 0.6, 0.6],
      [0.05, 0.05, 0.38],
    ] as const;
    const data = new Uint8Array(3 * SIZE.widthPx * SIZE.heightPx);
    for (let y = 0; y < SIZE.heightPx; y++)
      for (let x = 0; x < SIZE.widthPx; x++) {
        const face = step(x - FACE.left) * step(FACE.right - x) * step(y - FACE.top) * step(FACE.bottom - y);
        const awayPx = Math.max(FACE.left - x, x - FACE.right, FACE.top - y, y - FACE.bottom, 0);
        const shade = 0.38 / (1 + Math.exp((awayPx - 4) / 0.6));
        for (let c = 0; c < 3; c++)
          data[3 * (y * SIZE.widthPx + x) + c] = Math.round(
            level(face * card[c]! + (1 - face) * table[c]! * (1 - shade)),
          );
      }
    const rgb = { ...SIZE, data };
    const sides = fitSides(rgb, QUAD, null, { searchPx: 4, insetShare: 0.09 })!;
    // small in the picture: the shade is 1.6 mm wide
    const views = [0, 0, 0, 0].map((rimPx) => ({ rimPx, pxPerMm: 2.5 }));
    expect(Math.abs(belowFace(rimEdges(rgb, QUAD, sides, views)))).toBeLessThan(0.2);
  });

  it('is as uncertain as the cut side is wide where that looks like the face', () => {
    const rgb = picture(2, 0.5);
    const sides = fitSides(rgb, QUAD, null, { searchPx: 4, insetShare: 0.09 })!;
    // the steepest place is where the cut side ends
    expect(belowFace(sides.flatMap((s) => s!.points))).toBeGreaterThan(1.5);
    const views = [0, 0, 2, 0].map((px) => ({ rimPx: px, pxPerMm: PX_PER_MM }));
    const lower = rimEdges(rgb, QUAD, sides, views).filter((p) => p.side === 2);
    for (const { sigmaPx } of lower) expect(sigmaPx).toBeGreaterThan(0.4);
    expect(Math.abs(belowFace(lower))).toBeLessThan(1.2);
  });
});

describe('whether a card lies on the cloth', () => {
  /** Maps of a picture of which this part shows cloth. */
  function sight(isCloth: (x: number, y: number) => boolean): Parameters<typeof clothAround>[0] {
    const [widthPx, heightPx] = [SIZE.widthPx / 2, SIZE.heightPx / 2];
    const none = new Float32Array(widthPx * heightPx);
    const cloth = none.map((_, i) => (isCloth(2 * (i % widthPx), 2 * Math.floor(i / widthPx)) ? 0.95 : 0.02));
    const shows = { table: none, card: none, paper: none, ruler: none, cloth };
    return { scale: 1, maps: { widthPx, heightPx, shows, withinCard: none } };
  }

  it('is told by cloth all round it', () => {
    expect(
      clothAround(
        sight(() => true),
        QUAD,
      ),
    ).toBe(true);
  });

  it('is told by a table round it, cloth touching one side', () => {
    expect(
      clothAround(
        sight((x) => x > FACE.right),
        QUAD,
      ),
    ).toBe(false);
  });

  it('is not told where no cloth is seen at all', () => {
    expect(
      clothAround(
        sight(() => false),
        QUAD,
      ),
    ).toBeUndefined();
  });
});
