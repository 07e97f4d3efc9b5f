/** Marks dragged over the photo by mouse, by finger and by keys: where they are put is what is measured with. */
import type { Locator, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { text } from '../../web/lib/text.ts';
import { openPage, SCREENS, type RunningPage } from './support.ts';

interface Point {
  x: number;
  y: number;
}

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

/** Opens the ways to correct and chooses one. */
async function begin(page: Page, what: string): Promise<Locator[]> {
  await page.locator('summary', { hasText: 'Put the reading right' }).click();
  await page.getByRole('button', { name: what }).click();
  await page.locator('.photo-view').scrollIntoViewIfNeeded();
  return [1, 2, 3, 4].map((n) => page.getByRole('button', { name: `Corner ${n}` }));
}

/** Where a mark is, in pixels of the photo. */
async function placeOf(mark: Locator): Promise<Point> {
  const dot = mark.locator('.handle-dot');
  return { x: Number(await dot.getAttribute('cx')), y: Number(await dot.getAttribute('cy')) };
}

/** Where a mark is, in CSS pixels of the window. */
async function onScreen(mark: Locator): Promise<Point> {
  const box = (await mark.locator('.handle-dot').boundingBox())!;
  return { x: box.x + box.width / 2, y: box.y + box.height / 2 };
}

/** Presses "Measure with this", and answers with what was asked of the server once the answer is there. */
async function measureWithThis(page: Page): Promise<MeasureOptions> {
  const asked = page.waitForRequest(
    (one) => one.url().endsWith('/api/v1/measurements') && one.method() === 'POST',
  );
  await page.getByRole('button', { name: 'Measure with this' }).click();
  const { options } = (await asked).postDataJSON() as { options: MeasureOptions };
  await page.getByText('Measured with your corrections.').waitFor();
  await page.getByTestId('status').waitFor();
  return options;
}

const about = (centre: Point, point: Point, factor: number): Point => ({
  x: centre.x + factor * (point.x - centre.x),
  y: centre.y + factor * (point.y - centre.y),
});
const middleOf = (points: Point[]): Point => ({
  x: points.reduce((sum, p) => sum + p.x, 0) / points.length,
  y: points.reduce((sum, p) => sum + p.y, 0) / points.length,
});

/** How far a point lies outside a convex quadrilateral, its corners clockwise as seen; 0 inside. */
function outside(quad: Point[], point: Point): number {
  return Math.max(
    0,
    ...quad.map((a, i) => {
      const b = quad[(i + 1) % quad.length]!;
      const side = (b.x - a.x) * (point.y - a.y) - (b.y - a.y) * (point.x - a.x);
      return -side / Math.hypot(b.x - a.x, b.y - a.y);
    }),
  );
}

describe('Correcting by dragging', () => {
  it('with the mouse: a card marked a tenth larger makes the gauge a tenth finer', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    const before = Number(await page.getByTestId('stitches-first').textContent());
    const corners = await begin(page, 'Mark the scale');
    const starts = await Promise.all(corners.map(onScreen));
    for (const [i, corner] of corners.entries()) {
      const [from, to] = [starts[i]!, about(middleOf(starts), starts[i]!, 1.1)];
      await page.mouse.move(from.x, from.y);
      await page.mouse.down();
      await page.mouse.move((from.x + to.x) / 2, (from.y + to.y) / 2);
      // While it is held, what is under it is shown larger.
      expect(await page.locator('.photo-view-loupe').count()).toBe(1);
      await page.mouse.move(to.x, to.y);
      await page.mouse.up();
      expect(await page.locator('.photo-view-loupe').count()).toBe(0);
      const now = await onScreen(corner);
      expect(Math.hypot(now.x - to.x, now.y - to.y)).toBeLessThan(1.5);
    }
    const places = await Promise.all(corners.map(placeOf));
    const { manual } = await measureWithThis(page);
    expect(manual).toMatchObject({ type: 'rectangle' });
    expect((manual as { cornersPx: Point[] }).cornersPx).toEqual(places);
    // Ten centimetres now reach over a tenth more of the cloth.
    const after = Number(await page.getByTestId('stitches-first').textContent());
    expect(after / before).toBeGreaterThan(1.06);
    expect(after / before).toBeLessThan(1.14);
    expect(errors).toEqual([]);
    await leave();
  });

  it('with a finger: only the marked part of the cloth is measured', async () => {
    const { page, errors, leave } = await running.visit('phone');
    await page.getByTestId('status').waitFor();
    const corners = await begin(page, 'Mark the fabric');
    const cdp = await page.context().newCDPSession(page);
    const touch = (type: 'touchStart' | 'touchMove' | 'touchEnd', at: Point[]) =>
      cdp.send('Input.dispatchTouchEvent', { type, touchPoints: at.map((p) => ({ ...p, id: 0 })) });
    const starts = await Promise.all(corners.map(onScreen));
    const scrolled = await page.evaluate(() => scrollY);
    for (const [i, corner] of corners.entries()) {
      const [from, to] = [starts[i]!, about(middleOf(starts), starts[i]!, 0.7)];
      await touch('touchStart', [from]);
      for (const share of [0.25, 0.5, 0.75, 1]) await touch('touchMove', [about(from, to, share)]);
      await touch('touchEnd', []);
      await expect
        .poll(async () => {
          const now = await onScreen(corner);
          return Math.hypot(now.x - to.x, now.y - to.y);
        })
        .toBeLessThan(1.5);
    }
    expect(await page.evaluate(() => scrollY), 'the page moved under the finger').toBe(scrolled);
    const places = await Promise.all(corners.map(placeOf));
    const { regionPx } = await measureWithThis(page);
    expect(regionPx).toEqual(places);
    const outline = ((await page.locator('polygon.found-fabric').getAttribute('points')) ?? '')
      .split(' ')
      .map((pair) => pair.split(',').map(Number))
      .map(([x, y]) => ({ x: x!, y: y! }));
    expect(outline.length).toBeGreaterThan(3);
    const size = Math.hypot(places[2]!.x - places[0]!.x, places[2]!.y - places[0]!.y);
    expect(Math.max(...outline.map((point) => outside(places, point))) / size).toBeLessThan(0.03);
    expect(errors).toEqual([]);
    await leave();
  });

  it('with the keys: arrows move a mark a little, with Shift ten times as far', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    await page.locator('summary', { hasText: 'Put the reading right' }).focus();
    await page.keyboard.press('Enter');
    await page.keyboard.press('Tab');
    await page.keyboard.press('Enter'); // the first way: marking the scale
    // The focus is on the first mark; two on is the third.
    const hasFocus = (one: Locator) => one.evaluate((element) => element === document.activeElement);
    await expect.poll(() => hasFocus(page.getByRole('button', { name: 'Corner 1' }))).toBe(true);
    await page.keyboard.press('Tab');
    await page.keyboard.press('Tab');
    const corner = page.getByRole('button', { name: 'Corner 3' });
    expect(await hasFocus(corner)).toBe(true);
    const start = await placeOf(corner);
    await page.keyboard.press('ArrowRight');
    const little = (await placeOf(corner)).x - start.x;
    expect(little).toBeGreaterThan(0);
    await page.keyboard.press('Shift+ArrowDown');
    const moved = await placeOf(corner);
    expect((moved.y - start.y) / little).toBeCloseTo(10, 1);
    // A mark stays in the photo, however long a key is held.
    for (let presses = 0; presses < 300; presses++) await page.keyboard.press('Shift+ArrowRight');
    const widthPx = await page
      .locator('.photo-view-picture > image')
      .evaluate((one) => Number(one.getAttribute('width')));
    expect((await placeOf(corner)).x).toBeLessThanOrEqual(widthPx);
    // Leaving it puts the focus back where the way in is.
    await page.getByRole('button', { name: 'Leave it' }).focus();
    await page.keyboard.press('Enter');
    await expect
      .poll(() => hasFocus(page.locator('summary', { hasText: 'Put the reading right' })))
      .toBe(true);
    expect(errors).toEqual([]);
    await leave();
  });

  it('that cannot be right is refused in words, and the last good reading stays', async () => {
    const { page, leave } = await running.visit('desktop', SCREENS.desktop);
    await page.getByTestId('status').waitFor();
    const before = await page.getByTestId('stitches-first').textContent();
    const corners = await begin(page, 'Mark the scale');
    // Two corners of the card changed over: no rectangle looks like that.
    const [first, second] = [await onScreen(corners[0]!), await onScreen(corners[1]!)];
    for (const [from, to] of [
      [first, { x: second.x, y: second.y + 3 }],
      [second, first],
    ] as const) {
      await page.mouse.move(from.x, from.y);
      await page.mouse.down();
      await page.mouse.move(to.x, to.y, { steps: 3 });
      await page.mouse.up();
    }
    await page.getByRole('button', { name: 'Measure with this' }).click();
    await page.getByRole('alert').waitFor();
    expect(await page.getByRole('alert').textContent()).toContain(text('problem.bad-option.corners-cross'));
    expect(await page.getByTestId('stitches-first').textContent()).toBe(before);
    await page.getByRole('button', { name: 'Mark the scale' }).waitFor(); // ready to try again
    await leave();
  });
});
