import { describe, expect, it } from 'vitest';
import { closePhotoSpec } from '../../fixtures/piece/closePhotoSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import type { OctaveOdds } from '../../vision/lattice/weighOctaves.ts';
import { measurePiece } from '../../vision/piece/measurePiece.ts';
import { pitchesOf, readAsPlanned, type PlannedReading } from '../../vision/readAsPlanned.ts';
import { evenLattice } from './evenLattice.ts';
import { octaveOdds } from './octaveOdds.ts';

/** A plan of stitches 10 px wide and rows 7 px high. */
const planned = { stitchesPer10cm: 20, rowsPer10cm: 200 / 7 };
const pxPerMm = 2;

/** A check that is so sure of lattices of these pitches, and of all others that they are others. */
function sureOf(
  wanted: [stitch: number, row: number],
  sure: number,
): (lattice: LatticeFit) => Promise<OctaveOdds> {
  return async (lattice) => {
    const { stitchPitchPx, rowPitchPx } = pitchesOf(lattice);
    const is = Math.abs(stitchPitchPx - wanted[0]) + Math.abs(rowPitchPx - wanted[1]) < 0.01;
    return Promise.resolve(octaveOdds(is ? sure : 0.02));
  };
}

const read = (stitchPitchPx: number, rowPitchPx: number, sure: number) => {
  const lattice = evenLattice({ stitchPitchPx, rowPitchPx });
  return { lattice, octaves: octaveOdds(sure) };
};
const none: PlannedReading['fit'] = async () => Promise.resolve(null);

describe('readAsPlanned', () => {
  it('leaves what is as planned and settled, and asks nothing', async () => {
    const weigh = async () => Promise.reject(new Error('asked'));
    expect(await readAsPlanned(read(10.5, 6.8, 0.9), { planned, pxPerMm, fit: none, weigh })).toBeNull();
  });

  it.each<[string, number, number]>([
    ['rows taken for columns', 7, 10],
    ['two rows taken for one', 10, 14],
    ['both at once', 7, 5],
  ])('puts right %s, though the check was sure of it', async (_, stitch, row) => {
    const weigh = async (lattice: LatticeFit) => {
      const { rowPitchPx } = pitchesOf(lattice);
      return Promise.resolve(octaveOdds(Math.abs(rowPitchPx - row) < 0.01 ? 0.96 : 0.3));
    };
    const found = await readAsPlanned(read(stitch, row, 0.96), { planned, pxPerMm, fit: none, weigh });
    const pitches = pitchesOf(found!.lattice);
    expect(pitches.stitchPitchPx).toBeCloseTo(10, 6);
    expect(pitches.rowPitchPx).toBeCloseTo(7, 6);
    // 0.3 as planned, against 0.96 at 0.002 and a tenth of what else it may be.
    expect(found!.octaves.ways[0].weight).toBeCloseTo(0.3 / (0.3 + 0.96 * 0.002 + 0.1 * 0.04), 6);
  });

  it('finds four columns for three in rib of two and two that is drawn together', async () => {
    const looksLike = [{ stitch: 'rib-2x2' as const, weight: 1 }];
    const weigh = sureOf([10, 7], 0.6);
    const of = async (lattice: LatticeFit) =>
      readAsPlanned({ lattice, octaves: octaveOdds(0.02) }, { planned, pxPerMm, fit: none, weigh });
    const drawn = { stitchPitchPx: 40 / 3, rowPitchPx: 14 };
    const found = await of(evenLattice({ ...drawn, looksLike }));
    expect(pitchesOf(found!.lattice).stitchPitchPx).toBeCloseTo(10, 6);
    expect(pitchesOf(found!.lattice).rowPitchPx).toBeCloseTo(7, 6);
    expect(await of(evenLattice(drawn))).toBeNull();
  });

  it('tells by proportions where no scale is known', async () => {
    const weigh = sureOf([10, 7], 0.9);
    const found = await readAsPlanned(read(7, 10, 0.96), { planned, pxPerMm: null, fit: none, weigh });
    expect(pitchesOf(found!.lattice).rowPitchPx).toBeCloseTo(7, 6);
  });

  it('looks near the planned pitches for what was not found, until two sizes show it alike', async () => {
    const asked: number[] = [];
    const fit: PlannedReading['fit'] = async (near, size) => {
      asked.push(size);
      expect(near.stitchPitchPx).toBeCloseTo(10, 9);
      return Promise.resolve(size === 1 ? null : evenLattice({ stitchPitchPx: 10, rowPitchPx: 7.2 }));
    };
    const weigh = sureOf([10, 7.2], 0.9);
    const found = await readAsPlanned(null, { planned, pxPerMm, fit, weigh });
    expect(pitchesOf(found!.lattice).rowPitchPx).toBeCloseTo(7.2, 6);
    expect(asked).toEqual([1, 0.7, 1.4]);
  });

  const seenAt =
    (rowPitches: number[], quality: Partial<LatticeFit['quality']> = {}): PlannedReading['fit'] =>
    async (_, size) => {
      const rowPitchPx = rowPitches[[1, 0.7, 1.4].indexOf(size)]!;
      return Promise.resolve(evenLattice({ stitchPitchPx: 10, rowPitchPx, quality }));
    };

  it.each<[string, PlannedReading['fit'], number]>([
    ['do not look right, though they lie where they were looked for', seenAt([7, 7, 7]), 0.4],
    ['can be followed in half of the cloth', seenAt([7, 7, 7], { rowAgreement: 0.5 }), 0.95],
    ['are elsewhere at each size', seenAt([7, 7.3, 6.7]), 0.95],
  ])('does not take new waves that %s', async (_, fit, sure) => {
    const weigh = async () => Promise.resolve(octaveOdds(sure));
    const doubted = { ...read(12.3, 11, 0.1), octaves: octaveOdds(0.1) };
    expect(await readAsPlanned(doubted, { planned, pxPerMm, fit, weigh })).toBeNull();
  });

  it('does not draw towards the plan what looks right a tenth off it', async () => {
    const fit = seenAt([7, 7, 7]);
    const weigh = async () => Promise.resolve(octaveOdds(0.97));
    const tenthOff = { ...read(10, 8.2, 0.7) };
    expect(await readAsPlanned(tenthOff, { planned, pxPerMm, fit, weigh })).toBeNull();
  });

  it('leaves a piece that truly is far from its plan as it was read', async () => {
    const weigh = sureOf([13, 9], 0.97);
    expect(await readAsPlanned(read(13, 9, 0.97), { planned, pxPerMm, fit: none, weigh })).toBeNull();
  });
});

describe('a photo of a piece whose plan is known', { timeout: 120_000 }, () => {
  it.each([
    ['rows that were taken for two', 1_500_422],
    ['cloth beside a table that repeats more clearly', 1_500_065],
  ])('has %s counted rightly', async (_, seed) => {
    const { jpeg, truth } = await renderScene(closePhotoSpec(seed));
    const { stitch, rowCount, stitchesPer10cm, rowsPer10cm } = truth.fabric!;
    const plannedGauge = { stitchesPer10cm: 1.05 * stitchesPer10cm, rowsPer10cm: 0.96 * rowsPer10cm };
    const { counted, gauge, status } = await measurePiece(jpeg, { stitch, plannedGauge });
    expect(status).toBe('ok');
    expect(counted.rows?.value).toBe(rowCount);
    expect(gauge!.rowsPer10cm.value / rowsPer10cm).toBeCloseTo(1, 1);
  });
});
