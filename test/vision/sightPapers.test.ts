import { describe, expect, it } from 'vitest';
import type { Quad } from '../../vision/scale/geometry.ts';
import { paperAcross, paperSides, sightPapers } from '../../vision/sight/sightPapers.ts';

/** Half the picture's size: map pixel i shows picture pixels 2i and 2i + 1. */
const MAP = { widthPx: 160, heightPx: 120 };

/** What the network would say of a photo that was twice as large as what it looked at. */
function sight(paperOdds: (x: number, y: number) => number): Parameters<typeof sightPapers>[0] {
  const none = new Float32Array(MAP.widthPx * MAP.heightPx);
  const paper = none.map((_, i) => paperOdds(i % MAP.widthPx, Math.floor(i / MAP.widthPx)));
  return {
    scale: 0.5,
    maps: { ...MAP, shows: { table: none, card: none, paper, ruler: none, cloth: none }, withinCard: none },
  };
}

const within = (v: number, low: number, high: number): boolean => v >= low && v < high;
/** Paper over map columns 30 to 109 and rows 20 to 79. */
const isSheet = (x: number, y: number): boolean => within(x, 30, 110) && within(y, 20, 80);
/** The same in the photo, whose pixels are a quarter of a map's. */
const SHEET: Quad = [
  { x: 119.5, y: 79.5 },
  { x: 439.5, y: 79.5 },
  { x: 439.5, y: 319.5 },
  { x: 119.5, y: 319.5 },
];

describe('paper that the network sees', () => {
  it('is given as a quadrilateral in the photo', () => {
    const [quad] = sightPapers(sight((x, y) => (isSheet(x, y) ? 0.98 : 0.02)));
    for (const corner of SHEET)
      expect(Math.min(...quad!.map((p) => Math.hypot(p.x - corner.x, p.y - corner.y)))).toBeLessThan(3);
  });

  it('is bounded by all four sides of its outline', () => {
    const sides = paperSides(
      paperAcross(
        sight((x, y) => (isSheet(x, y) ? 0.98 : 0.02)),
        SHEET,
      ),
    );
    expect(sides[0]).toBeGreaterThan(0.9);
  });

  it('is bounded by three where work lies over one', () => {
    const sides = paperSides(
      paperAcross(
        sight((x, y) => (isSheet(x, y) && x < 100 ? 0.98 : 0.02)),
        SHEET,
      ),
    );
    expect(sides[0]).toBeLessThan(0.1);
    expect(sides[1]).toBeGreaterThan(0.7);
  });

  it('is seen beyond one side alone where that is a line printed on it', () => {
    const across = paperAcross(
      sight((x, y) => (within(x, 30, 140) && within(y, 20, 80) ? 0.98 : 0.02)),
      SHEET,
    );
    const beyond = across.map(({ outside }) => outside > 0.9);
    expect(beyond).toEqual([false, true, false, false]);
  });

  it('goes on beyond a line that is printed on it', () => {
    const sides = paperSides(
      paperAcross(
        sight((x) => (within(x, 30, 140) ? 0.98 : 0.02)),
        SHEET,
      ),
    );
    expect(sides[1]).toBeLessThan(0.1);
  });
});
