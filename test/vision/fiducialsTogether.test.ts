import { describe, expect, it } from 'vitest';
import { Luma } from '../../vision/luma.ts';
import { fiducialsTogether } from '../../vision/scale/fiducialsTogether.ts';
import { detectFiducials, findSheet } from '../../vision/scale/findSheet.ts';
import {
  applyHomography,
  distance,
  inverted,
  mix,
  rectangleTo,
  type Quad,
} from '../../vision/scale/geometry.ts';
import { smallSquares } from '../../vision/scale/smallSquares.ts';
import { squareRings } from '../../vision/scale/squareRings.ts';
import { sheetLayout, type SheetLayout } from '../../vision/scale/sheetLayout.ts';
import type { DecodedPhoto } from '../../vision/types.ts';

const WIDTH = 640;
const HEIGHT = 560;
/** Three and a half pixels to a code's cell, seen askew. */
const PAPER: Quad = [
  { x: 505, y: 60 },
  { x: 560, y: 440 },
  { x: 70, y: 490 },
  { x: 60, y: 95 },
];

/** A sheet on a dark table, each pixel the mean of a square of so many around it. */
function photoOf(
  layout: SheetLayout,
  blurPx: number,
  printed = layout.fiducials,
  paper: Quad = PAPER,
): DecodedPhoto {
  const toMm = inverted(rectangleTo(paper, layout.widthMm, layout.heightMm));
  const inkAt = (x: number, y: number): number => {
    const mm = applyHomography(toMm, { x, y });
    if (mm.x < 0 || mm.y < 0 || mm.x > layout.widthMm || mm.y > layout.heightMm) return 60;
    for (const { cornersMm, cells } of printed) {
      const column = Math.floor((8 * (mm.x - cornersMm[0].x)) / 18);
      const cell = cells[Math.floor((8 * (mm.y - cornersMm[0].y)) / 18)]?.[column];
      if (cell === 0) return 30;
    }
    return 235;
  };
  const sharp = new Float32Array(WIDTH * HEIGHT);
  for (let y = 0; y < HEIGHT; y++) for (let x = 0; x < WIDTH; x++) sharp[y * WIDTH + x] = inkAt(x, y);
  const data = new Uint8Array(3 * WIDTH * HEIGHT);
  for (let y = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++) {
      let sum = 0;
      let count = 0;
      for (let j = Math.max(0, y - blurPx); j <= Math.min(HEIGHT - 1, y + blurPx); j++)
        for (let i = Math.max(0, x - blurPx); i <= Math.min(WIDTH - 1, x + blurPx); i++, count++)
          sum += sharp[j * WIDTH + i]!;
      data.fill(Math.round(sum / count), 3 * (y * WIDTH + x), 3 * (y * WIDTH + x) + 3);
    }
  const rgb = { widthPx: WIDTH, heightPx: HEIGHT, data };
  return {
    rgb,
    gray: new Luma(rgb),
    originalWidthPx: WIDTH,
    originalHeightPx: HEIGHT,
    decodeScale: 1,
    focalLength35mm: null,
  };
}

/** The paper's outline as it is seen: some pixels off, and begun at another corner. */
const seenAs: Quad = [
  { x: 556, y: 446 },
  { x: 76, y: 484 },
  { x: 57, y: 99 },
  { x: 511, y: 57 },
];

describe('fiducialsTogether', () => {
  it.each(['a4', 'letter'] as const)('finds all squares of a blurred %s sheet', (page) => {
    const layout = sheetLayout(page);
    const photo = photoOf(layout, 3);
    expect(detectFiducials(photo).length).toBeLessThan(3);
    const seen = fiducialsTogether(photo, [{ of: 'page', quad: seenAs }]);
    const toPx = rectangleTo(PAPER, layout.widthMm, layout.heightMm);
    expect(seen).toHaveLength(12);
    for (const { layout: of, fiducial, corners } of seen) {
      expect(of.page).toBe(page);
      corners.forEach((corner, i) =>
        expect(distance(corner, applyHomography(toPx, fiducial.cornersMm[i]!))).toBeLessThan(1.2),
      );
    }
    const workHeightMm = { mean: 0, sd: 0.5 };
    const sheet = findSheet(photo, { workHeightMm, papers: () => [seenAs] });
    expect(sheet!.variety).toBe(`sheet-${page}`);
  });

  it('finds the squares of a sheet so far off that they are blurred to spots', () => {
    const layout = sheetLayout('a4');
    const far = PAPER.map((p) => mix({ x: 300, y: 270 }, p, 0.62)) as Quad;
    const photo = photoOf(layout, 2, layout.fiducials, far);
    expect(detectFiducials(photo)).toEqual([]);
    const rings = squareRings(smallSquares(photo));
    const seen = fiducialsTogether(
      photo,
      rings.map((quad) => ({ of: 'ring', quad })),
    );
    expect(seen.length).toBeGreaterThan(9);
    const toPx = rectangleTo(far, layout.widthMm, layout.heightMm);
    for (const { fiducial, corners } of seen)
      corners.forEach((corner, i) =>
        expect(distance(corner, applyHomography(toPx, fiducial.cornersMm[i]!))).toBeLessThan(1.5),
      );
  });

  it('takes no other paper for the sheet', () => {
    const layout = sheetLayout('a4');
    expect(fiducialsTogether(photoOf(layout, 1, []), [{ of: 'page', quad: seenAs }])).toEqual([]);
    // Squares where ours are, with nothing in them that we print.
    const strange = layout.fiducials.map((one, n) => ({
      ...one,
      cells: one.cells.map((line, r) =>
        line.map((cell, c) =>
          Math.min(r, c) < 1 || Math.max(r, c) > 6 ? cell : (7 * n + 3 * r + 5 * c) % 2,
        ),
      ),
    }));
    expect(fiducialsTogether(photoOf(layout, 1, strange), [{ of: 'page', quad: seenAs }])).toEqual([]);
  });
});
