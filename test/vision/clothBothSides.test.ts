import { describe, expect, it } from 'vitest';
import { clothBothSides } from '../../vision/sight/clothBothSides.ts';

const MAP = { widthPx: 190, heightPx: 140 };
/** Ticks along the upper edge of a ruler 14 map pixels wide, decoded px: the photo is four times as large as the map. */
const TICKS = [
  { x: 100, y: 202 },
  { x: 660, y: 202 },
  { x: 660, y: 216 },
  { x: 100, y: 216 },
];
const isRuler = (y: number): boolean => y >= 50 && y < 64;

/** A photo with a ruler right across it, and cloth where it is said to be and not hidden. */
function sight(isCloth: (x: number, y: number) => boolean): Parameters<typeof clothBothSides>[0] {
  const map = (shows: (x: number, y: number) => boolean): Float32Array =>
    new Float32Array(MAP.widthPx * MAP.heightPx).map((_, i) =>
      shows(i % MAP.widthPx, Math.floor(i / MAP.widthPx)) ? 0.97 : 0.01,
    );
  const none = map(() => false);
  return {
    scale: 0.5,
    maps: {
      ...MAP,
      shows: {
        table: none,
        card: none,
        paper: none,
        ruler: map((_, y) => isRuler(y)),
        cloth: map((x, y) => isCloth(x, y) && !isRuler(y)),
      },
      withinCard: none,
    },
  };
}

describe('a ruler', () => {
  it('lies on a swatch that is seen above and below it, though its ends lie beyond', () => {
    const across = sight((x, y) => x > 70 && x < 110 && y > 20 && y < 110);
    expect(clothBothSides(across, TICKS)).toBe(true);
    expect(clothBothSides(across, [...TICKS.slice(2), ...TICKS.slice(0, 2)])).toBe(true);
  });

  it('lies beside one that it does not touch', () => {
    expect(
      clothBothSides(
        sight((x, y) => x > 40 && x < 140 && y > 85),
        TICKS,
      ),
    ).toBe(false);
  });

  it('may lie on the rim of one, or touch it', () => {
    expect(
      clothBothSides(
        sight((x, y) => x > 40 && x < 140 && y > 62),
        TICKS,
      ),
    ).toBeUndefined();
  });

  it('lies who knows where, where no cloth is seen', () => {
    expect(
      clothBothSides(
        sight(() => false),
        TICKS,
      ),
    ).toBeUndefined();
  });
});
