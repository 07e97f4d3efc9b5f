import { describe, expect, it } from 'vitest';
import { sureTable } from '../../vision/sight/sureTable.ts';
import type { Sight } from '../../vision/sight/sightCards.ts';

const W = 60;
const H = 40;

/** A photo of twice the maps' size in which cloth is seen where `isCloth` says so, and table elsewhere. */
function seen(isCloth: (x: number, y: number) => boolean): Pick<Sight, 'maps' | 'scale'> {
  const odds = (of: (x: number, y: number) => number) =>
    Float32Array.from({ length: W * H }, (_, i) => of(i % W, Math.floor(i / W)));
  const none = odds(() => 0);
  const cloth = odds((x, y) => (isCloth(x, y) ? 0.95 : 0.01));
  const table = cloth.map((v) => 1 - v);
  const shows = { card: none, paper: none, ruler: none, cloth, table };
  return { maps: { widthPx: W, heightPx: H, shows, withinCard: none }, scale: 1 };
}

describe('sureTable', () => {
  const isTable = sureTable(seen((x) => x < 30))!;

  it('knows the table well away from the cloth', () => {
    expect(isTable({ x: 100, y: 40 })).toBe(true);
    expect(isTable({ x: 119, y: 0 })).toBe(true);
  });

  it('leaves the cloth and its rim alone', () => {
    expect(isTable({ x: 20, y: 40 })).toBe(false);
    expect(isTable({ x: 64, y: 40 })).toBe(false);
  });

  it('says nothing of what lies outside the photo', () => {
    expect(isTable({ x: 400, y: 40 })).toBe(false);
  });

  it('knows nothing where hardly any cloth is seen: a close-up may look like a table', () => {
    expect(sureTable(seen((x, y) => x < 5 && y < 5))).toBeNull();
  });
});
