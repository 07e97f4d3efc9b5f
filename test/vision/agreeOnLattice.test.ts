import { describe, expect, it, vi } from 'vitest';
import { agreeOnLattice, type FitAnew, strengthOf } from '../../vision/agreeOnLattice.ts';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { evenLattice } from './evenLattice.ts';
import type { Look, Sighting } from '../../vision/lattice/lookAgain.ts';

/** An even lattice, followed over `agreement` of the cloth with waves of `amplitude`. */
const latticeOf = (stitchPitchPx: number, rowPitchPx: number, agreement: number, amplitude: number) =>
  evenLattice({
    stitchPitchPx,
    rowPitchPx,
    cloth: { left: 0, top: 0, right: 12 * stitchPitchPx, bottom: 12 * rowPitchPx },
    quality: {
      stitchAgreement: agreement,
      rowAgreement: agreement,
      stitchAmplitude: amplitude,
      rowAmplitude: amplitude,
    },
  });

const seen = (stitchPitchPx: number, rowPitchPx: number): Sighting => ({
  stitchPitchPx,
  rowPitchPx,
  rowDirectionDeg: 0,
});
const always = (s: Sighting) => async () => s;
const pitches = (lattice: LatticeFit | null) => lattice && [lattice.cellAt(0, 0).stitchPitchPx, lattice.cellAt(0, 0).rowPitchPx]; // prettier-ignore

describe('agreeOnLattice', () => {
  it('keeps a clear lattice that other looks confirm, without fitting again', async () => {
    const asked: FitAnew[] = [];
    const fit = async (how: FitAnew) => (asked.push(how), null);
    const agreed = await agreeOnLattice(latticeOf(20, 18, 1, 0.6), fit, always(seen(20.3, 17.8)));
    expect(pitches(agreed.lattice)).toEqual([20, 18]);
    expect(agreed.consensus).toMatchObject({ support: 2, looks: 2 });
    expect(asked).toEqual([]);
  });

  it.each([
    ['two are enough where it stands out', latticeOf(20, 18, 1, 0.6), seen(20, 18), 2],
    ['three where it does somewhat', latticeOf(20, 18, 1, 0.35), seen(20, 18), 3],
    ['four where it hardly does', latticeOf(20, 18, 1, 0.27), seen(20, 18), 4],
    ['four where one disagrees', latticeOf(20, 18, 1, 0.6), seen(20, 36), 4],
  ])('takes no more looks than it takes: %s', async (_, first, others, taken) => {
    const look = vi.fn(async () => others);
    const { consensus } = await agreeOnLattice(first, async () => null, look);
    expect(look).toHaveBeenCalledTimes(taken);
    expect(consensus!.looks).toBe(taken);
  });

  it.each([
    ['backs surely garter', 'garter' as const, 0.9, 1, 4],
    ['disputes what may be garter', 'garter' as const, 0.6, 1, 0],
    ['disputes any other fabric', 'stockinette' as const, 0.9, 1, 0],
    ['disputes half of the stitches', 'garter' as const, 0.9, 2, 0],
  ])('a look that sees every other row %s', async (_, stitch, weight, stitchFactor, support) => {
    const rest = { stitch: 'seed' as const, weight: 1 - weight };
    const first = { ...latticeOf(20, 10, 1, 0.27), looksLike: [{ stitch, weight }, rest] };
    const ridges = always(seen(20 * stitchFactor, 20));
    expect((await agreeOnLattice(first, async () => null, ridges)).consensus!.support).toBe(support);
  });

  it('spares no look where it is open what the fabric is, unless the maker named it', async () => {
    const open = {
      ...latticeOf(20, 18, 1, 0.6),
      looksLike: [
        { stitch: 'sc' as const, weight: 0.4 },
        { stitch: 'dc' as const, weight: 0.35 },
        { stitch: 'garter' as const, weight: 0.25 },
      ],
    };
    const looksAt = async (named: boolean) => {
      const look = vi.fn(always(seen(20, 18)));
      await agreeOnLattice(open, async () => null, look, { named });
      return look.mock.calls.length;
    };
    expect(await looksAt(false)).toBe(4);
    expect(await looksAt(true)).toBe(2);
  });

  it('follows what the others agree on when the first stands alone', async () => {
    const fit = async ({ expected }: FitAnew) =>
      expected ? latticeOf(expected.stitchPitchPx, expected.rowPitchPx, 1, 0.5) : null;
    const agreed = await agreeOnLattice(latticeOf(20, 36, 0.8, 0.4), fit, always(seen(20, 18)));
    expect(pitches(agreed.lattice)![1]).toBeCloseTo(18, 6);
    expect(agreed.consensus!.support).toBe(4);
  });

  it('reads weak cloth at other sizes and keeps the strongest', async () => {
    const fit = async ({ sizeFactor }: FitAnew) => (sizeFactor === 0.7 ? latticeOf(14, 12, 0.95, 0.5) : null);
    const weak = latticeOf(20, 18, 0.5, 0.2);
    expect(strengthOf(weak)).toBeLessThan(0.25);
    const agreed = await agreeOnLattice(weak, fit, always(seen(14, 12)));
    expect(pitches(agreed.lattice)).toEqual([14, 12]);
  });

  it('finds a lattice at another size where there was none', async () => {
    const fit = async ({ sizeFactor }: FitAnew) => (sizeFactor === 1.4 ? latticeOf(30, 25, 0.9, 0.4) : null);
    const agreed = await agreeOnLattice(null, fit, async () => null);
    expect(pitches(agreed.lattice)).toEqual([30, 25]);
    const nothing = await agreeOnLattice(null, async () => null, async () => null); // prettier-ignore
    expect(nothing).toEqual({ lattice: null, consensus: null });
  });

  it('makes what two looks agree on besides another way to count', async () => {
    const look = async ({ zoom }: Look) => seen(20, zoom === 1.35 ? 36 : 18);
    const { lattice } = await agreeOnLattice(latticeOf(20, 18, 1, 0.35), async () => null, look);
    expect(lattice!.rivals).toHaveLength(1);
    expect(lattice!.rivals[0]!.rowFactor).toBeCloseTo(2, 6);
  });
});
