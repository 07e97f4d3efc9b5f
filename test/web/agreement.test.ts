import { describe, expect, it } from 'vitest';
import { agreementOf } from '../../web/swatch/agreement.ts';

const exactly = (value: number) => ({
  value,
  standardUncertainty: 0.1,
  low95: value - 0.2,
  high95: value + 0.2,
});
const gauge = { stitchesPer10cm: exactly(15), rowsPer10cm: exactly(12) };
const place = (stitchesPer10cm: number | null, rowsPer10cm: number | null, trust = 1) => ({
  centrePx: { x: 0, y: 0 },
  stitchesPer10cm,
  rowsPer10cm,
  stitchPitchPx: 10,
  rowPitchPx: 12,
  alongRows: 0.5,
  acrossStitches: 0.5,
  trust,
});

describe('How many places bear the numbers out', () => {
  it('counts a place only when its stitches and its rows are both within 5 %', () => {
    const localGauge = [place(15, 12), place(15.7, 11.5), place(15.9, 12), place(15, 13)];
    expect(agreementOf({ gauge, localGauge })).toEqual({ places: 4, near: 2 });
  });

  it('leaves out places that were not read', () => {
    const localGauge = [place(15, 12), place(null, 12), place(15, null), place(15, 12, 0)];
    expect(agreementOf({ gauge, localGauge })).toEqual({ places: 1, near: 1 });
    expect(agreementOf({ gauge: null, localGauge })).toEqual({ places: 0, near: 0 });
  });
});
