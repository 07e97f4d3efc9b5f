import { describe, expect, it } from 'vitest';
import { clothLeanDeg } from '../../vision/clothLean.ts';
import type { Point } from '../../vision/types.ts';

function rectangle(degrees: number, widthPx: number, heightPx: number): Point[] {
  const a = (degrees * Math.PI) / 180;
  return [
    [0, 0],
    [widthPx, 0],
    [widthPx, heightPx],
    [0, heightPx],
  ].map(([u, v]) => ({
    x: 300 + u * Math.cos(a) - v * Math.sin(a),
    y: 200 + u * Math.sin(a) + v * Math.cos(a),
  }));
}

describe('clothLeanDeg', () => {
  it.each([0, 17, 44, -30, -44])('says how far a swatch lies from level: %i°', (degrees) => {
    expect(clothLeanDeg(rectangle(degrees, 140, 90))).toBeCloseTo(degrees, 3);
  });

  it('does not mind which sides are the long ones', () => {
    expect(clothLeanDeg(rectangle(20, 90, 140))).toBeCloseTo(20, 3);
    expect(clothLeanDeg(rectangle(110, 140, 90))).toBeCloseTo(20, 3);
  });

  it('says nothing of an outline without sides', () => {
    const half = rectangle(25, 140, 90).slice(0, 3);
    expect(clothLeanDeg(half)).toBeNull();
    expect(clothLeanDeg([{ x: 0, y: 0 }])).toBeNull();
  });
});
