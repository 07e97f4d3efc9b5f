import { describe, expect, it } from 'vitest';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { stitchChanges, stitchPlaces } from '../../vision/piece/stitchesAcross.ts';
import { applyHomography, inverted } from '../../vision/scale/geometry.ts';
import type { Matrix3, Point } from '../../vision/types.ts';

const SIZE = { widthPx: 1600, heightPx: 1200 };
const TRULY = { homographyPxToMm: [1, 0, 0, 0, 1, 0, 0, 0.0001, 1] as Matrix3, radialDistortion: 0 };
const LEVEL = { homographyPxToMm: [1, 0, 0, 0, 1, 0, 0, 0, 1] as Matrix3, radialDistortion: 0 };

/** Stitches 8 mm wide in rows 6 mm high that run to the right, over 800 × 600 mm, the stitches wider by a share at the bottom. */
const places = (drift = 0) =>
  stitchPlaces(
    {
      places: Array.from({ length: 1600 }, (_, i) => ({
        x: 20 * (i % 40) + 10,
        y: 15 * Math.floor(i / 40) + 7.5,
        trust: 1,
      })),
      stitchPhaseAt: (x: number) => x / 8,
      rowPhaseAt: (_: number, y: number) => y / 6,
      cellAt: (_: number, y: number) => ({
        stitchPitchPx: 8 * (1 + drift * (y / 600 - 0.5)),
        rowPitchPx: 6,
        stitchAngleDeg: 0,
        rowAngleDeg: 90,
      }),
    } as unknown as LatticeFit,
    // the flat picture is in mm, from 100 mm to the right and below of the photo's corner on
    ({ x, y }: Point) => applyHomography(inverted(TRULY.homographyPxToMm), { x: x + 100, y: y + 100 }),
  );

describe('stitches and rows over a piece', () => {
  it('are alike by the plane in which they lie', () => {
    const found = places();
    expect(found).toHaveLength(36);
    const changes = stitchChanges(found, TRULY, SIZE, 800, 600);
    for (const change of [changes.stitchesAlong, changes.rowsAlong, changes.rowsAcross])
      expect(Math.abs(change)).toBeLessThan(0.003);
    expect(changes.direction.x).toBeCloseTo(1, 3);
    expect(changes.seen[0]).toBeGreaterThan(0.9);
    expect(changes.seen[1]).toBeGreaterThan(0.9);
  });

  it('shrink by another: rows, which the table leans along, by the square', () => {
    const changes = stitchChanges(places(), LEVEL, SIZE, 800, 600);
    // 600 mm nearer to the camera by 0.0001 a px
    expect(Math.abs(changes.rowsAcross)).toBeGreaterThan(0.1);
    expect(Math.abs(changes.rowsAlong)).toBeLessThan(0.01);
    expect(Math.abs(changes.stitchesAlong)).toBeLessThan(0.01);
  });

  it('tell a hand that loosens from a table that leans: rows stay as high', () => {
    const changes = stitchChanges(places(0.06), TRULY, SIZE, 800, 600);
    expect(Math.abs(changes.rowsAcross)).toBeLessThan(0.01);
  });

  it('say how much of the piece they are', () => {
    const { seen } = stitchChanges(places(), TRULY, SIZE, 1600, 600);
    expect(seen[0]).toBeGreaterThan(0.45);
    expect(seen[0]).toBeLessThan(0.55);
  });
});
