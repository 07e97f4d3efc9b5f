import { describe, expect, it } from 'vitest';
import { type CloserLook, lookCloser } from '../../vision/lookCloser.ts';

const found = { stitchPitchPx: 60, rowPitchPx: 30 };
const looks = (...seen: [number, number, number][]) => {
  const asked: number[] = [];
  const all = seen.map(([stitchPitchPx, rowPitchPx, evidence]) => ({ stitchPitchPx, rowPitchPx, evidence }));
  const look = (times: number): Promise<CloserLook> => Promise.resolve(all[asked.push(times) - 1]);
  return { asked, look };
};

describe('a closer look', () => {
  it('finds the stitches of which blocks of colour were taken for coarse ones', async () => {
    const { look } = looks([12.5, 7.4, 0.4], [12.8, 7.6, 0.5]);
    expect(await lookCloser(found, look)).toEqual({ stitchPitchPx: 12.8, rowPitchPx: 7.6, evidence: 0.5 });
  });

  it('is one only where the first sees nothing but yarn', async () => {
    const { look, asked } = looks([12, 7, 0.02]);
    expect(await lookCloser(found, look)).toBeNull();
    expect(asked).toHaveLength(1);
  });

  it('does not believe stitches that shrink with the look', async () => {
    const { look } = looks([30, 8, 0.3], [35, 10, 0.3]);
    expect(await lookCloser(found, look)).toBeNull();
  });

  it('leaves alone what it sees as large as before', async () => {
    const { look } = looks([58, 31, 0.6]);
    expect(await lookCloser(found, look)).toBeNull();
  });

  it('finds nothing where no pitch is seen at all', async () => {
    const { look } = looks([NaN, NaN, 0]);
    expect(await lookCloser(found, look)).toBeNull();
  });
});
