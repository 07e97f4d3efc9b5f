import { describe, expect, it, vi } from 'vitest';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { levelInstead } from '../../vision/levelInstead.ts';
import type { StitchKey } from '../../vision/types.ts';
import { evenLattice } from './evenLattice.ts';

/** An even lattice whose rows run at `rowsDeg`, with waves of `amplitude`, that looks like these fabrics. */
function latticeAt(rowsDeg: number, amplitude: number, looksLike: LatticeFit['looksLike']): LatticeFit {
  const even = evenLattice({
    stitchPitchPx: 20,
    rowPitchPx: 18,
    cloth: { left: 0, top: 0, right: 240, bottom: 216 },
    quality: { stitchAmplitude: amplitude, rowAmplitude: amplitude },
  });
  const cellAt: LatticeFit['cellAt'] = (x, y) => ({
    ...even.cellAt(x, y),
    stitchAngleDeg: rowsDeg,
    rowAngleDeg: rowsDeg - 90,
  });
  return { ...even, cellAt, looksLike };
}

const RIB: LatticeFit['looksLike'] = [
  { stitch: 'rib-1x1', weight: 0.8 },
  { stitch: 'hdc', weight: 0.15 },
  { stitch: 'sc', weight: 0.05 },
];

describe('levelInstead', () => {
  it('reads what seems a rib on its side as crochet with level rows', async () => {
    const asked: StitchKey[] = [];
    const fitAs = async (stitch: StitchKey) => (asked.push(stitch), latticeAt(2, 0.4, RIB));
    const level = await levelInstead(latticeAt(-88, 0.4, RIB), fitAs);
    expect(asked).toEqual(['hdc']);
    expect(level!.readAs).toBe('hdc');
    expect(level!.lattice.looksLike.map(({ stitch }) => stitch)).toEqual(['hdc', 'sc']);
    expect(level!.lattice.looksLike[0].weight).toBeCloseTo(0.75, 6);
  });

  it('reads what seems crochet on its side as knitting', async () => {
    const looksLike: LatticeFit['looksLike'] = [
      { stitch: 'herringbone-hdc', weight: 0.7 },
      { stitch: 'rib-1x1', weight: 0.3 },
    ];
    const level = await levelInstead(latticeAt(90, 0.4, looksLike), async () => latticeAt(0, 0.4, looksLike));
    expect(level).toMatchObject({
      readAs: 'rib-1x1',
      lattice: { looksLike: [{ stitch: 'rib-1x1', weight: 1 }] },
    });
  });

  it('leaves rows that are level, or slant, as they are, without another look', async () => {
    const fitAs = vi.fn(async () => latticeAt(0, 0.9, RIB));
    expect(await levelInstead(latticeAt(3, 0.4, RIB), fitAs)).toBeNull();
    expect(await levelInstead(latticeAt(-45, 0.4, RIB), fitAs)).toBeNull();
    expect(await levelInstead(null, fitAs)).toBeNull();
    expect(fitAs).not.toHaveBeenCalled();
  });

  it('believes upright rows of what is surely one fabric, without another look', async () => {
    const fitAs = vi.fn(async () => latticeAt(0, 0.9, RIB));
    expect(await levelInstead(latticeAt(88, 0.4, [{ stitch: 'seed', weight: 0.92 }]), fitAs)).toBeNull();
    expect(fitAs).not.toHaveBeenCalled();
  });

  it.each([
    ['it is read upright whatever it is taken for', async () => latticeAt(88, 0.5, RIB)],
    ['what is seen level hardly stands out', async () => latticeAt(0, 0.2, RIB)],
    ['nothing is seen', async () => null],
  ])('keeps upright rows where %s', async (_, fitAs) => {
    expect(await levelInstead(latticeAt(88, 0.4, RIB), fitAs)).toBeNull();
  });
});
