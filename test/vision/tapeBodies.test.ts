import { describe, expect, it } from 'vitest';
import { bodiesOnMap } from '../../vision/sight/tapeBodies.ts';

const [W, H] = [400, 300];

/** What the network would say of a photo of four times the map's size. */
function seen(odds: (x: number, y: number) => number): ReturnType<typeof bodiesOnMap> {
  const none = new Float32Array(W * H);
  const ruler = none.map((_, i) => odds(i % W, Math.floor(i / W)));
  return bodiesOnMap(
    { widthPx: W, heightPx: H, shows: { table: none, card: none, paper: none, ruler, cloth: none } },
    0.5,
  );
}

describe('tapes seen from closer by', () => {
  it('are one thing though fingers and creases divide them, also where they lie bent', () => {
    const bent = (x: number, y: number) => Math.abs(Math.hypot(x - 200, y - 420) - 300) < 3;
    const bodies = seen((x, y) =>
      bent(x, y) && x > 60 && x < 340 && Math.abs(x - 130) > 8 && Math.abs(x - 250) > 5 ? 0.97 : 0.02,
    );
    expect(bodies).toHaveLength(1);
    const [body] = bodies;
    // 4 px of the photo each: an arc of 55.6°
    expect(Math.abs(body!.lengthPx / (4 * 300 * 0.97) - 1)).toBeLessThan(0.03);
    for (const along of [0.05, 0.5, 0.95]) {
      const p = body!.place(along, 0);
      expect(
        Math.abs(Math.hypot((p.x + 0.5) / 4 - 0.5 - 200, (p.y + 0.5) / 4 - 0.5 - 420) - 300),
      ).toBeLessThan(0.7);
    }
  });

  it('are parted from stripes of the table that look a little like them', () => {
    const tape = (x: number, y: number) => Math.abs(y - 150) < 3 && x > 40 && x < 360;
    const stripes = (x: number, y: number) => x % 30 < 12 && Math.abs(y - 150) < 60 && x > 40 && x < 360;
    const bodies = seen((x, y) => (tape(x, y) ? 0.95 : stripes(x, y) ? 0.5 : 0.02));
    const thin = bodies.find((b) => b.widthPx < 40);
    expect(thin?.lengthPx).toBeGreaterThan(1200);
    expect(Math.abs(thin!.place(0.5, 0).y - 602)).toBeLessThan(3);
  });

  it('are none where only specks or squares are seen', () => {
    expect(seen((x, y) => (x % 40 < 3 && y % 40 < 3 ? 0.9 : 0.02))).toHaveLength(0);
    expect(seen((x, y) => (x > 100 && x < 160 && y > 80 && y < 130 ? 0.9 : 0.02))).toHaveLength(0);
  });
});
