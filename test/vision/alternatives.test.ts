import { describe, expect, it } from 'vitest';
import { alternativesOf } from '../../vision/alternatives.ts';
import { meanPitches } from '../../vision/gauge.ts';
import type { Alternative } from '../../vision/measurement.ts';
import type { Rectified } from '../../vision/rectify.ts';
import type { DecodedPhoto } from '../../vision/types.ts';
import { evenLattice } from './evenLattice.ts';
import { octaveOdds } from './octaveOdds.ts';

const mean = meanPitches(evenLattice({ stitchPitchPx: 10, rowPitchPx: 8 }));
const flat = { pxPerMm: 2 } as Rectified;
/** To a millionth of a pixel. */
const pitches = ({ stitchPitchPx, rowPitchPx }: Alternative) =>
  [stitchPitchPx, rowPitchPx].map((px) => Number(px.toFixed(6)));
const photo = { decodeScale: 0.5 } as DecodedPhoto;

describe('ways to count', () => {
  it('list the chosen one first, with weights that sum to 1, in the pixels of the photo as it was taken', () => {
    const odds = octaveOdds(0.6, [{ stitch: 1, row: 2, weight: 0.3 }]);
    const [chosen, twice, ...more] = alternativesOf([], odds, mean, flat, photo);
    expect(more).toEqual([]);
    expect(pitches(chosen)).toEqual([20, 16]);
    expect(chosen.weight).toBeCloseTo(2 / 3, 6);
    expect(pitches(twice)).toEqual([20, 8]);
    expect(twice.rowsPer10cm).toBeCloseTo(2 * chosen.rowsPer10cm!, 6);
    expect(twice.weight).toBeCloseTo(1 / 3, 6);
  });

  it('never put another before the chosen one, however likely', () => {
    const odds = octaveOdds(0.1, [{ stitch: 1, row: 0.5, weight: 0.9 }]);
    const [chosen, other] = alternativesOf([], odds, mean, flat, photo);
    expect(pitches(chosen)).toEqual([20, 16]);
    expect([chosen.weight, other.weight]).toEqual([0.5, 0.5]);
  });

  it('weigh halves and doubles by the octave check alone, and others by no more than it leaves them', () => {
    const rivals = [
      { stitchFactor: 1, rowFactor: 2, weight: 0.9 },
      { stitchFactor: 1.3, rowFactor: 1, weight: 0.9 },
    ];
    const settled = alternativesOf(
      rivals,
      octaveOdds(0.996, [{ stitch: 1, row: 0.5, weight: 0.002 }]),
      mean,
      flat,
      photo,
    );
    expect(settled.map(({ weight }) => weight)).toEqual([1]);
    const open = alternativesOf(
      rivals,
      octaveOdds(0.8, [{ stitch: 1, row: 0.5, weight: 0.04 }]),
      mean,
      flat,
      photo,
    );
    expect(open.slice(1).map(pitches)).toEqual([
      [26, 16],
      [20, 32],
    ]);
    expect(open[1].weight / open[0].weight).toBeCloseTo(0.2, 5);
  });

  it('take the reader’s own rivals where the maker counted and nothing was checked', () => {
    const rivals = [{ stitchFactor: 0.5, rowFactor: 1, weight: 0.25 }];
    expect(alternativesOf(rivals, null, mean, flat, photo).map(({ weight }) => weight)).toEqual([0.8, 0.2]);
  });
});
