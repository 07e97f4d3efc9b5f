import { describe, expect, it } from 'vitest';
import { confidenceOf, readGraduations } from '../../vision/scale/ruler/readGraduations.ts';
import { drawRuler } from './rulerDrawing.ts';

describe('ticks whose beginnings a striped table hides', () => {
  const { photo } = drawRuler({ widthPx: 1000, heightPx: 750, pxPerMm: 4, lengthMm: 180 });
  const [plain] = readGraduations(photo.gray).filter((r) => r.named?.key === 'metric');
  const hidden = { ...plain!, baseSpread: 1 };

  it('are millimetres all the same where their lengths say so', () => {
    expect(confidenceOf(plain!)).toBeGreaterThan(0.9);
    expect(confidenceOf(hidden)).toBeGreaterThan(0.8);
    expect(confidenceOf({ ...plain!, baseSpread: 2 })).toBe(0);
  });

  it('are no quarters of an inch, which cloth imitates', () => {
    const { named } = plain!;
    expect(confidenceOf({ ...hidden, named: { ...named!, key: 'inch-4' } })).toBe(0);
  });
});
