import { describe, expect, it } from 'vitest';
import type { Quad } from '../../vision/scale/geometry.ts';
import { stepsAcross } from '../../vision/scale/stepsAcross.ts';
import type { RgbImage } from '../../vision/types.ts';

const SHEET: Quad = [
  { x: 60, y: 40 },
  { x: 340, y: 40 },
  { x: 340, y: 260 },
  { x: 60, y: 260 },
];

/** A sheet with a line printed along its right side, on a table that is darker but for a pale part right of x = 342. */
function photo(): RgbImage {
  const [widthPx, heightPx] = [400, 300];
  const data = new Uint8Array(3 * widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const onSheet = x >= 60 && x < 342 && y >= 40 && y < 260;
      const isLine = onSheet && Math.abs(x - 340) < 1.5;
      const noise = ((x * 7919 + y * 104729) % 13) - 6;
      const value = (isLine ? 90 : onSheet || x >= 342 ? 215 : 150) + noise;
      data.fill(value, 3 * (y * widthPx + x), 3 * (y * widthPx + x) + 3);
    }
  return { widthPx, heightPx, data };
}

describe('the step across a side', () => {
  it('is that of sheet and table, and none across a printed line with paper beyond it', () => {
    const [top, right, bottom, left] = stepsAcross(photo(), SHEET) as [number, number, number, number];
    for (const step of [top, bottom, left]) expect(step).toBeGreaterThan(80);
    expect(right).toBeLessThan(10);
  });
});
