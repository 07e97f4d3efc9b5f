import { describe, expect, it } from 'vitest';
import { bandsKept, type KeptResult } from '../../web/check/check-facts.ts';

const kept = (photos: Record<string, number>): KeptResult => ({
  stitchesPer10cm: null,
  rowsPer10cm: null,
  widthMm: 900,
  heightMm: 1200,
  drift: 'steady',
  bands: Object.entries(photos).map(([photo, row]) => ({
    photo,
    row,
    stitchesPer10cm: { value: 14, standardUncertainty: 0.1 },
  })),
  gramsBefore: {},
});

describe('bandsKept', () => {
  it('counts a photo that is in two checks once, where the later one placed it', () => {
    const bands = bandsKept([kept({ first: 12 }), null, kept({ first: 45, second: 80 })]);
    expect(bands.map(({ photo, row }) => [photo, row])).toEqual([
      ['first', 45],
      ['second', 80],
    ]);
  });

  it('keeps all photos of all checks otherwise', () => {
    expect(bandsKept([kept({ a: 10 }), kept({ b: 50 })]).map(({ row }) => row)).toEqual([10, 50]);
  });
});
