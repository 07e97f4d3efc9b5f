import { describe, expect, it } from 'vitest';
import { sightRulers } from '../../vision/sight/sightRulers.ts';

const MAP = { widthPx: 190, heightPx: 140 };

/** What the network would say of a photo of 760 × 560 px that it looked at in half its size. */
function sight(isRuler: (x: number, y: number) => boolean): Parameters<typeof sightRulers>[0] {
  const none = new Float32Array(MAP.widthPx * MAP.heightPx);
  const ruler = none.map((_, i) => (isRuler(i % MAP.widthPx, Math.floor(i / MAP.widthPx)) ? 0.97 : 0.01));
  return {
    scale: 0.5,
    maps: { ...MAP, shows: { table: none, card: none, paper: none, ruler, cloth: none }, withinCard: none },
  };
}

describe('rulers that the network sees', () => {
  const lying = sightRulers(sight((x, y) => x >= 20 && x < 160 && y >= 50 && y < 64));

  it('have two long edges', () => {
    expect(lying.edges).toHaveLength(2);
    for (const { angle, lengthPx } of lying.edges) {
      expect(Math.abs(Math.sin(angle))).toBeLessThan(0.02);
      expect(lengthPx).toBeGreaterThan(500);
    }
    const heights = lying.edges.map((e) => e.middle.y).sort((p, q) => p - q);
    expect(heights[0]).toBeCloseTo(202, -1);
    expect(heights[1]).toBeCloseTo(254, -1);
  });

  it('are there, and a little beside their edges, and not elsewhere', () => {
    expect(lying.isAt({ x: 400, y: 230 })).toBe(true);
    expect(lying.isAt({ x: 400, y: 194 })).toBe(true);
    expect(lying.isAt({ x: 400, y: 100 })).toBe(false);
  });

  it('have edges in several directions where a tape is bent', () => {
    const bent = sightRulers(sight((x, y) => Math.abs(Math.hypot(x - 95, y - 200) - 120) < 5));
    const angles = bent.edges.map((e) => Math.atan(Math.tan(e.angle)));
    expect(Math.max(...angles) - Math.min(...angles)).toBeGreaterThan(0.3);
  });

  it('have a middle line from end to end, also where a tape is bent', () => {
    const [body] = lying.bodies();
    expect(body!.lengthPx).toBeCloseTo(560, -1);
    expect(body!.widthPx).toBeCloseTo(56, -1);
    expect(body!.place(0.5, 0).y).toBeCloseTo(228, -0.5);
    expect(Math.abs(body!.place(0, 0).x - body!.place(1, 0).x)).toBeCloseTo(560, -1);
    const [bent] = sightRulers(
      sight((x, y) => Math.abs(Math.hypot(x - 95, y - 200) - 120) < 5 && Math.abs(x - 95) < 50),
    ).bodies();
    for (const along of [0.1, 0.5, 0.9])
      for (const across of [-1, 0, 1]) {
        const p = bent!.place(along, across);
        const radius = Math.hypot((p.x + 0.5) / 4 - 0.5 - 95, (p.y + 0.5) / 4 - 0.5 - 200);
        expect(Math.abs(Math.abs(radius - 120) - 5 * Math.abs(across))).toBeLessThan(1.2);
      }
  });

  it('have no middle line where what is seen is as wide as long', () => {
    expect(sightRulers(sight((x, y) => x > 40 && x < 90 && y > 40 && y < 70)).bodies()).toHaveLength(0);
  });

  it('are none where only specks are seen', () => {
    expect(sightRulers(sight((x, y) => x % 40 < 3 && y % 40 < 3)).edges).toHaveLength(0);
  });
});
