import { describe, expect, it } from 'vitest';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import type { OctaveOdds } from '../../vision/lattice/weighOctaves.ts';
import { settleOctaves } from '../../vision/settleOctaves.ts';
import { evenLattice } from './evenLattice.ts';
import { octaveOdds } from './octaveOdds.ts';

const rowPitch = (lattice: LatticeFit) => lattice.cellAt(0, 0).rowPitchPx;

/** A check that finds rows of this height right, and others off by two. */
function checkFor(height: number, sure: number): (lattice: LatticeFit) => Promise<OctaveOdds> {
  return async (lattice) => {
    const row = rowPitch(lattice) / height;
    return Promise.resolve(
      row === 1 ? octaveOdds(sure) : octaveOdds((1 - sure) / 2, [{ stitch: 1, row, weight: sure }]),
    );
  };
}

const all = { support: 4, looks: 4, dissent: [] };
const half = { support: 2, looks: 4, dissent: [] };

describe('settleOctaves', () => {
  it('leaves a lattice that the check finds right', async () => {
    const read = evenLattice({ rowPitchPx: 8 });
    const { lattice, octaves } = await settleOctaves(read, all, checkFor(8, 0.95));
    expect(lattice).toBe(read);
    expect(octaves.ways[0].weight).toBe(0.95);
  });

  it.each([
    ['half of the looks', half],
    ['all looks', all],
  ])(
    'counts otherwise where the check finds that much likelier, and checks it anew, against %s',
    async (_, consensus) => {
      const { lattice, octaves } = await settleOctaves(
        evenLattice({ rowPitchPx: 4 }),
        consensus,
        checkFor(8, 0.95),
      );
      expect(rowPitch(lattice)).toBe(8);
      expect(octaves.ways[0]).toEqual({ stitch: 1, row: 1, weight: 0.95 });
    },
  );

  it('is no surer of the other way than the check was of it at first', async () => {
    const check = async (one: LatticeFit) =>
      Promise.resolve(
        rowPitch(one) === 8 ? octaveOdds(0.98) : octaveOdds(0.2, [{ stitch: 1, row: 0.5, weight: 0.7 }]),
      );
    const { octaves } = await settleOctaves(evenLattice({ rowPitchPx: 4 }), half, check);
    expect(octaves.ways[0].weight).toBe(0.7);
    expect(octaves.other).toBeCloseTo(0.3, 9);
  });

  it('leaves the lattice, and tells of the other way, where that is not much likelier', async () => {
    const { lattice, octaves } = await settleOctaves(evenLattice({ rowPitchPx: 4 }), half, checkFor(8, 0.55));
    expect(rowPitch(lattice)).toBe(4);
    expect(octaves.ways[1]).toEqual({ stitch: 1, row: 0.5, weight: 0.55 });
  });

  it('leaves the lattice where the other way, checked in its turn, is likelier wrong than right', async () => {
    const never = async () => Promise.resolve(octaveOdds(0.001, [{ stitch: 1, row: 0.5, weight: 0.9 }]));
    expect(rowPitch((await settleOctaves(evenLattice({ rowPitchPx: 4 }), half, never)).lattice)).toBe(4);
  });

  it.each([
    ['four for three, and no longer by what looks said of three', 0.95, 0.6, 0.97, 7.5],
    ['three, where they look right so', 0.95, 0.93, 0.97, 10],
    ['three, where four are not surely right', 0.95, 0.6, 0.8, 10],
    ['three, where it may be another fabric', 0.7, 0.6, 0.97, 10],
  ])('counts rib of two and two as %s', async (_, surelyRib, asThree, asFour, expected) => {
    const read = evenLattice({ stitchPitchPx: 10, looksLike: [{ stitch: 'rib-2x2', weight: surelyRib }] });
    const check = async (one: LatticeFit) =>
      Promise.resolve(octaveOdds(one.cellAt(0, 0).stitchPitchPx === 10 ? asThree : asFour));
    const settled = await settleOctaves(read, all, check);
    expect(settled.lattice.cellAt(0, 0).stitchPitchPx).toBeCloseTo(expected, 9);
    expect(settled.consensus).toBe(expected === 10 ? all : null);
  });

  it.each([
    ['rows and columns the other way round where that surely looks right', 0.9, 0.97, 7],
    ['as read where it does not', 0.9, 0.8, 10],
    ['as read where the lattice is likelier right', 0.3, 0.97, 10],
  ])('reads %s', async (_, other, exchanged, expected) => {
    const read = evenLattice({ stitchPitchPx: 10, rowPitchPx: 7 });
    const check = async (one: LatticeFit) => {
      const isRead = one.cellAt(0, 0).stitchPitchPx > 9;
      return Promise.resolve(octaveOdds(isRead ? 1 - other : exchanged));
    };
    const settled = await settleOctaves(read, all, check);
    expect(settled.lattice.cellAt(0, 0).stitchPitchPx).toBeCloseTo(expected, 9);
    expect(settled.consensus).toBe(expected === 10 ? all : null);
  });

  it('takes the cloth for what the check sees in it once it is counted otherwise', async () => {
    const read = evenLattice({ rowPitchPx: 4, looksLike: [{ stitch: 'reverse-stockinette', weight: 0.9 }] });
    const garter = [{ stitch: 'garter' as const, weight: 0.8 }];
    const check = async (one: LatticeFit) =>
      Promise.resolve(
        rowPitch(one) === 8
          ? octaveOdds(0.9, [], garter)
          : octaveOdds(0.1, [{ stitch: 1, row: 0.5, weight: 0.85 }], garter),
      );
    expect((await settleOctaves(read, all, check)).lattice.looksLike).toBe(garter);
    const kept = await settleOctaves(read, all, async () => Promise.resolve(octaveOdds(0.9, [], garter)));
    expect(kept.lattice.looksLike).toBe(read.looksLike);
  });
});
