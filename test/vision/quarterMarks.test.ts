import { describe, expect, it } from 'vitest';
import { quarterMarks } from '../../vision/scale/ruler/quarterMarks.ts';
import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';
import type { GrayImage } from '../../vision/types.ts';

const WIDTH = 800;
const TOP = 40;
const BOTTOM = 120;

/** A ruler 80 px wide with a mark every `pitch` px, and shorter ones at these fractions between. */
function ruler(pitch: number, fractions: readonly number[]): GrayImage {
  const data = new Float32Array(WIDTH * 160);
  for (let y = 0; y < 160; y++)
    for (let x = 0; x < WIDTH; x++) {
      const at = (((x / pitch) % 1) + 1) % 1;
      const isNear = (f: number): boolean => Math.min(Math.abs(at - f), 1 - Math.abs(at - f)) * pitch < 1;
      const depth = y - TOP;
      const isInk =
        (isNear(0) && depth >= 1 && depth < 22) || (fractions.some(isNear) && depth >= 1 && depth < 13);
      data[y * WIDTH + x] = y < TOP || y >= BOTTOM ? 0.4 : isInk ? 0.3 : 0.85;
    }
  return { widthPx: WIDTH, heightPx: 160, data };
}

const look = (pitch: number, fractions: readonly number[]): number | null => {
  const image = ruler(pitch, fractions);
  const band = { toPoint: (along: number, across: number) => ({ x: along, y: across }) } as StraightBand;
  const ticks = Array.from({ length: Math.floor(WIDTH / pitch) - 2 }, (_, k) => ({
    index: k,
    along: (k + 1) * pitch,
    nearness: 1,
    reachUp: 4,
    reachDown: 4,
    strength: 1,
  }));
  return quarterMarks(image, { image, factor: 1 }, band, ticks, -1, [TOP, BOTTOM]);
};

describe('marks at the quarters between numbered ones', () => {
  it('are there between inches', () => {
    expect(look(40, [0.25, 0.5, 0.75])).toBeGreaterThan(0.5);
    expect(look(64, [0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875])).toBeGreaterThan(0.5);
  });

  it('are not there between centimetres, halves or none', () => {
    expect(look(40, [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9])).toBeLessThan(0.1);
    expect(look(40, [0.5])).toBeLessThan(0.1);
    expect(look(40, [])).toBeLessThan(0.1);
  });

  it('cannot be told where they would run together', () => {
    expect(look(16, [0.25, 0.5, 0.75])).toBeNull();
  });
});
