import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { panBy, settle, visibleBox, wholePhoto, zoomAt } from '../../web/photo/viewport.ts';

const photo = { widthPx: 4000, heightPx: 3000 };
const frame = { widthCss: 400, heightCss: 300 };

describe('Zooming and moving a photo', () => {
  it('shows all of the photo at first', () => {
    expect(visibleBox(wholePhoto(photo), photo, frame)).toMatchObject({
      x: 0,
      y: 0,
      width: 4000,
      height: 3000,
    });
  });

  it('keeps the point under the pointer where it is while zooming', () => {
    const at = { x: 1500, y: 1200 };
    const before = wholePhoto(photo);
    const after = zoomAt(before, 3, at, photo, frame);
    const onScreen = (view: typeof before) => {
      const box = visibleBox(view, photo, frame);
      return { x: (at.x - box.x) * box.scale, y: (at.y - box.y) * box.scale };
    };
    expect(onScreen(after).x).toBeCloseTo(onScreen(before).x);
    expect(onScreen(after).y).toBeCloseTo(onScreen(before).y);
  });

  it('never loses the photo from sight, whatever is done to it', () => {
    const step = fc.oneof(
      fc.record({
        zoom: fc.double({ min: 0.1, max: 10, noNaN: true }),
        x: fc.integer({ min: -9000, max: 9000 }),
      }),
      fc.record({ dx: fc.integer({ min: -5000, max: 5000 }), dy: fc.integer({ min: -5000, max: 5000 }) }),
    );
    fc.assert(
      fc.property(fc.array(step, { maxLength: 12 }), (steps) => {
        let view = wholePhoto(photo);
        for (const one of steps)
          view =
            'zoom' in one
              ? zoomAt(view, one.zoom, { x: one.x, y: 700 }, photo, frame)
              : panBy(view, one.dx, one.dy, photo, frame);
        const box = visibleBox(settle(view, photo, frame), photo, frame);
        expect(box.x).toBeGreaterThanOrEqual(-1e-6);
        expect(box.y).toBeGreaterThanOrEqual(-1e-6);
        expect(box.x + box.width).toBeLessThanOrEqual(photo.widthPx + 1e-6);
        expect(box.y + box.height).toBeLessThanOrEqual(photo.heightPx + 1e-6);
      }),
    );
  });
});
