import { describe, expect, it } from 'vitest';
import { Luma } from '../../vision/luma.ts';
import { cutEdgeStrip, STRIP } from '../../vision/piece/edgeStrip.ts';
import type { GrayImage } from '../../vision/types.ts';
import { evenLattice } from './evenLattice.ts';

/** Cloth from (100, 80) to (340, 320), in a picture whose luma grows to the right and downward. */
const lattice = evenLattice({
  stitchPitchPx: 12,
  rowPitchPx: 16,
  cloth: { left: 100, top: 80, right: 340, bottom: 320 },
});
const gray: GrayImage = { widthPx: 440, heightPx: 400, data: new Float32Array(440 * 400) };
for (let y = 0; y < 400; y++) for (let x = 0; x < 440; x++) gray.data[y * 440 + x] = x / 1000 + y / 2000;
const cloth = { gray, toGray: (p: { x: number; y: number }) => p, lattice };
const at = (strip: Float32Array, line: number, column: number) => strip[line * STRIP.columns + column]!;

describe('cutEdgeStrip', () => {
  it('lays the strip across the edge, outside first', () => {
    // 15 rows: the last ends at y = 80, the first at y = 320.
    const top = cutEdgeStrip(cloth, { axis: 'rows', along: 10, edge: 15, outward: 1 })!;
    const bottom = cutEdgeStrip(cloth, { axis: 'rows', along: 10, edge: 0, outward: -1 })!;
    const middle = 220 / 1000;
    expect(at(top, STRIP.expectedLine, STRIP.columns / 2)).toBeCloseTo(middle + 80.5 / 2000 + 0.0005, 4);
    expect(at(top, 0, STRIP.columns / 2)).toBeLessThan(at(top, STRIP.expectedLine, STRIP.columns / 2));
    expect(at(bottom, STRIP.expectedLine, STRIP.columns / 2)).toBeCloseTo(middle + 319.5 / 2000 + 0.0005, 4);
    expect(at(bottom, 0, STRIP.columns / 2)).toBeGreaterThan(at(bottom, 50, STRIP.columns / 2));
  });

  it('is as many rows deep and stitches wide at every size', () => {
    const strip = cutEdgeStrip(cloth, { axis: 'rows', along: 10, edge: 15, outward: 1 })!;
    const rows = ((at(strip, 80, 0) - at(strip, 0, 0)) * 2000) / 16;
    const stitches = ((at(strip, 0, 84) - at(strip, 0, 0)) * 1000) / 12;
    expect(rows).toBeCloseTo(80 / STRIP.linesEach, 3);
    expect(stitches).toBeCloseTo(84 / STRIP.columnsEach, 3);
  });

  it('lies across the sides as it does across the ends', () => {
    const left = cutEdgeStrip(cloth, { axis: 'stitches', along: 7.5, edge: 0, outward: -1 })!;
    const across = ((at(left, 80, 40) - at(left, 0, 40)) * 1000) / 12;
    expect(across).toBeCloseTo(80 / STRIP.linesEach, 3);
  });

  it('is not laid where the photo ends', () => {
    const near = { ...gray, heightPx: 330, data: gray.data.slice(0, 440 * 330) };
    const bottom = { axis: 'rows', along: 10, edge: 0, outward: -1 } as const;
    expect(cutEdgeStrip(cloth, bottom)).not.toBeNull();
    expect(cutEdgeStrip({ ...cloth, gray: near }, bottom)).toBeNull();
  });

  it('follows what lies between the flat picture and the photo', () => {
    const turned = { ...cloth, toGray: ({ x, y }: { x: number; y: number }) => ({ x: y, y: 440 - x - 1 }) };
    const other: GrayImage = { widthPx: 400, heightPx: 440, data: new Float32Array(400 * 440) };
    for (let y = 0; y < 440; y++)
      for (let x = 0; x < 400; x++) other.data[y * 400 + x] = gray.data[x * 440 + (439 - y)]!;
    const place = { axis: 'rows', along: 10, edge: 15, outward: 1 } as const;
    const straight = cutEdgeStrip(cloth, place)!;
    const round = cutEdgeStrip({ ...turned, gray: other }, place)!;
    expect(Math.max(...straight.map((v, i) => Math.abs(v - round[i]!)))).toBeLessThan(1e-5);
  });

  it('works out the luma of what it cuts, not of the whole photo', () => {
    const bytes = Uint8Array.from({ length: 3 * 440 * 400 }, (_, i) => (i * i) % 251);
    const rgb = { widthPx: 440, heightPx: 400, data: bytes };
    const whole = new Luma(rgb);
    const kept: GrayImage = { widthPx: 440, heightPx: 400, data: whole.data };
    const never = new Luma(rgb);
    Object.defineProperty(never, 'data', {
      get: () => {
        throw new Error('all of it was made');
      },
    });
    for (const edge of [0, 15]) {
      const place = { axis: 'rows', along: 10, edge, outward: edge === 0 ? -1 : 1 } as const;
      expect(cutEdgeStrip({ ...cloth, gray: never }, place)).toEqual(
        cutEdgeStrip({ ...cloth, gray: kept }, place),
      );
    }
  });
});
