import { describe, expect, test } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { findScale } from '../../vision/findScale.ts';
import { distance, type Quad } from '../../vision/scale/geometry.ts';
import { agreeWithSight } from '../../vision/sight/agreeWithSight.ts';
import { outlineQuads } from '../../vision/sight/outlineQuads.ts';
import { sightThings } from '../../vision/sight/sightCards.ts';
import { SIGHTED, sightPicture } from '../../vision/sight/sightPicture.ts';
import type { Point } from '../../vision/types.ts';

/** Signed distance to a convex polygon's outline, positive inside, as a map of log-odds might rise across it. */
function mapOf(quad: Quad, widthPx: number, heightPx: number) {
  const data = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const sides = quad.map((p, i) => {
        const q = quad[(i + 1) % 4]!;
        return ((q.x - p.x) * (y - p.y) - (q.y - p.y) * (x - p.x)) / distance(p, q);
      });
      data[y * widthPx + x] = Math.max(-6, Math.min(6, 2 * Math.min(...sides)));
    }
  }
  return { widthPx, heightPx, data };
}

const farthest = (a: Quad, b: readonly Point[]) =>
  Math.min(...[0, 1, 2, 3].map((turn) => Math.max(...a.map((p, i) => distance(p, b[(i + turn) % 4]!)))));

describe('outlineQuads', () => {
  const card: Quad = [
    { x: 30.3, y: 20.7 },
    { x: 110.2, y: 28.1 },
    { x: 104.6, y: 79.4 },
    { x: 24.9, y: 70.2 },
  ];

  test('follows a patch to a tenth of a map pixel', () => {
    const [found] = outlineQuads(mapOf(card, 140, 100), 20);
    expect(farthest(found!.quad, card)).toBeLessThan(0.1);
    expect(found!.straightness).toBeGreaterThan(0.95);
  });

  test('a patch whose sides meet far outside the picture gets none', () => {
    const map = { widthPx: 96, heightPx: 72, data: new Float32Array(96 * 72) };
    const discs = [
      { x: 75, y: 12, r: 8 },
      { x: 77, y: 17, r: 7 },
    ];
    for (let y = 0; y < 72; y++) {
      for (let x = 0; x < 96; x++) {
        const depth = Math.max(...discs.map((disc) => disc.r - Math.hypot(x - disc.x, y - disc.y)));
        map.data[y * 96 + x] = Math.max(-3, Math.min(3, depth));
      }
    }
    expect(outlineQuads(map, 20)).toEqual([]);
  });

  test('a corner that is missing is where its sides meet', () => {
    const map = mapOf(card, 140, 100);
    for (let y = 0; y < 100; y++) for (let x = 0; x < 140; x++) if (x + y > 170) map.data[y * 140 + x] = -6;
    const [found] = outlineQuads(map, 20);
    expect(farthest(found!.quad, card)).toBeLessThan(0.5);
  });

  test('specks and empty maps give nothing', () => {
    const map = { widthPx: 40, heightPx: 30, data: new Float32Array(1200).fill(-3) };
    map.data[500] = 2;
    expect(outlineQuads(map, 20)).toEqual([]);
  });
});

describe('sightThings', () => {
  test('sees a card on a striped table about where it lies, and no second one', async () => {
    const { image, truth } = await renderScene(
      randomSceneSpec(81, {
        references: ['card'],
        backgrounds: ['striped-cloth'],
        referenceLies: ['table'],
        longSidePx: [1200, 1200],
        hardship: 0.3,
        tiltDeg: [0, 15],
      }),
    );
    const { cards } = await sightThings(image);
    expect(cards).toHaveLength(1);
    const corners = truth.reference!.cornersPx;
    expect(farthest(cards[0]!.quad, corners)).toBeLessThan(0.02 * distance(corners[0]!, corners[1]!));
    expect(cards[0]!.cardness).toBeGreaterThan(0.8);
  });

  test('tells cloth from what it lies on', async () => {
    const { image, truth } = await renderScene(
      randomSceneSpec(82, {
        references: ['none'],
        longSidePx: [1000, 1000],
        hardship: 0.3,
        tiltDeg: [0, 10],
      }),
    );
    const { maps, scale, cards } = await sightThings(image);
    expect(cards).toEqual([]);
    const outline = truth.fabric!.outlinePx;
    const middle = {
      x: outline.reduce((s, p) => s + p.x, 0) / outline.length,
      y: outline.reduce((s, p) => s + p.y, 0) / outline.length,
    };
    const cell = Math.round((middle.y * scale) / 2) * maps.widthPx + Math.round((middle.x * scale) / 2);
    expect(maps.shows.cloth[cell]).toBeGreaterThan(0.8);
  });
});

describe('sightPicture', () => {
  test('takes any size and gives shares of one', async () => {
    const widthPx = 77;
    const heightPx = 41;
    const data = Uint8Array.from({ length: 3 * widthPx * heightPx }, (_, i) => (i * 37) % 251);
    const maps = await sightPicture({ widthPx, heightPx, data });
    expect([maps.widthPx, maps.heightPx]).toEqual([39, 21]);
    for (const i of [0, 400, 818])
      expect(SIGHTED.reduce((sum, thing) => sum + maps.shows[thing][i]!, 0)).toBeCloseTo(1, 5);
  });
});

describe('agreeWithSight', () => {
  const quad: Quad = [
    { x: 100, y: 100 },
    { x: 500, y: 100 },
    { x: 500, y: 350 },
    { x: 100, y: 350 },
  ];
  const seen = { quad, cardness: 0.9, straightness: 1 };

  test('is how much a card is seen there, whichever corner is named first', () => {
    const turned = [quad[2], quad[3], quad[0], quad[1]] as Quad;
    expect(agreeWithSight(turned, [seen])).toBeCloseTo(0.9, 6);
  });

  test('forgives one corner, which may be hidden, and no second one', () => {
    const moved = (...which: number[]) =>
      quad.map((p, i) => (which.includes(i) ? { x: p.x + 60, y: p.y + 40 } : p)) as Quad;
    expect(agreeWithSight(moved(2), [seen])).toBeCloseTo(0.9, 6);
    expect(agreeWithSight(moved(1, 2), [seen])).toBeLessThan(0.65);
  });

  test('is nothing where no card is seen', () => {
    expect(agreeWithSight(quad, [])).toBe(0);
  });
});

describe('findScale', () => {
  // Development scenes whose cards were not to be found by their edges alone: stripes meet them in their own colours.
  test.each([1000025, 1000026])('takes a card on a striped table: scene %i', async (seed) => {
    const { jpeg, truth } = await renderScene(
      randomSceneSpec(seed, { references: ['card'], layouts: ['solid'], tiltDeg: [0, 15] }),
    );
    const photo = await decodePhoto(jpeg, { maxSidePx: 3000 });
    const { scale } = await findScale(photo, { reference: 'auto' });
    expect(scale?.kind).toBe('card');
    const corners = truth.reference!.cornersPx.map((p) => ({
      x: p.x * photo.decodeScale,
      y: p.y * photo.decodeScale,
    }));
    expect(farthest(scale!.outlinePx as Quad, corners)).toBeLessThan(
      0.012 * distance(corners[0]!, corners[1]!),
    );
  });
});
