import { beforeAll, describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { findFabric } from '../../vision/findFabric.ts';
import { fitLattice, type LatticeFit, withFactors } from '../../vision/fitLattice.ts';
import { weighOctaves } from '../../vision/lattice/weighOctaves.ts';
import type { GrayImage } from '../../vision/types.ts';
import { sample } from './samples.ts';

describe('weighOctaves, of hdc that was read rightly', () => {
  let gray: GrayImage;
  let lattice: LatticeFit;

  beforeAll(async () => {
    gray = (await decodePhoto((await sample('hdc-swatch-card')).bytes)).gray;
    lattice = (await fitLattice(gray, (await findFabric(gray))!))!;
  });

  it('says so', async () => {
    const { ways, other, looksLike } = await weighOctaves(gray, lattice);
    expect(ways[0]).toMatchObject({ stitch: 1, row: 1 });
    expect(ways[0].weight).toBeGreaterThan(0.9);
    expect(ways).toHaveLength(9);
    expect(ways.reduce((sum, way) => sum + way.weight, other)).toBeCloseTo(1, 5);
    expect(looksLike.reduce((sum, one) => sum + one.weight, 0)).toBeCloseTo(1, 5);
  });

  it.each([
    { counted: 'twice the rows', factor: { stitch: 1, row: 2 }, way: { stitch: 1, row: 0.5 } },
    { counted: 'half the rows', factor: { stitch: 1, row: 0.5 }, way: { stitch: 1, row: 2 } },
    { counted: 'twice the stitches', factor: { stitch: 2, row: 1 }, way: { stitch: 0.5, row: 1 } },
    { counted: 'half the stitches', factor: { stitch: 0.5, row: 1 }, way: { stitch: 2, row: 1 } },
  ])('sees that $counted are counted', async ({ factor, way }) => {
    const { ways } = await weighOctaves(gray, withFactors(lattice, factor));
    expect(ways[0].weight).toBeLessThan(0.2);
    expect(ways[1]).toMatchObject(way);
  });

  it.each([
    { counted: 'right', factor: { stitch: 1, row: 1 } },
    { counted: '6 % too few rows', factor: { stitch: 1, row: 1 / 1.06 } },
    { counted: '6 % too many rows', factor: { stitch: 1, row: 1.06 } },
    { counted: '6 % too few stitches', factor: { stitch: 1 / 1.06, row: 1 } },
    { counted: '6 % too many stitches', factor: { stitch: 1.06, row: 1 } },
  ])('sees by what a lattice is off that counts $counted', async ({ factor }) => {
    const { strain } = await weighOctaves(gray, withFactors(lattice, factor));
    for (const axis of ['stitch', 'row'] as const) {
      const { log, standardUncertainty } = strain[axis];
      expect(standardUncertainty).toBeLessThan(0.03);
      // Three standard uncertainties: one in 370 is outside.
      expect(Math.abs(log + Math.log(factor[axis]))).toBeLessThan(3 * standardUncertainty);
    }
  });

  it('says the same whichever way the stitches run, where it is not clear', async () => {
    const unclear = withFactors(lattice, { stitch: 1, row: 2 });
    const backwards: LatticeFit = {
      ...unclear,
      cellAt: (x, y) => {
        const cell = unclear.cellAt(x, y);
        return { ...cell, stitchAngleDeg: cell.stitchAngleDeg + 180 };
      },
    };
    const [forth, back] = [await weighOctaves(gray, unclear), await weighOctaves(gray, backwards)];
    for (const way of forth.ways) {
      const same = back.ways.find(({ stitch, row }) => stitch === way.stitch && row === way.row);
      expect(same!.weight).toBeCloseTo(way.weight, 5);
    }
    expect(back.other).toBeCloseTo(forth.other, 5);
  });

  it('takes a lattice of thirds for none of these', async () => {
    const { ways, other } = await weighOctaves(gray, withFactors(lattice, { stitch: 1 / 3, row: 1 }));
    expect(ways[0].weight).toBeLessThan(0.2);
    expect(other).toBeGreaterThan(0.5);
  });
});
