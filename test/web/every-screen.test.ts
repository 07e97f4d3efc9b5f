/** Every screen, at both widths, in light and in dark: accessible, nothing cut off, nothing jumping. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  accessibilityFaults,
  layoutShifts,
  openPageWithPiece,
  SCREENS,
  sidewaysScroll,
  type RunningPage,
} from './support.ts';

let running: RunningPage;
let pieceId: string;
beforeAll(async () => {
  ({ running, pieceId } = await openPageWithPiece());
});
afterAll(() => running?.close());

const ways = Object.keys(SCREENS).flatMap((screen) =>
  (['light', 'dark'] as const).map((colorScheme) => ({
    screen: screen as keyof typeof SCREENS,
    colorScheme,
  })),
);

describe.each(ways)('On a $screen in $colorScheme', ({ screen, colorScheme }) => {
  it('every screen is clean, fits, and keeps still', async () => {
    const { page, errors, leave } = await running.visit(screen, { colorScheme });
    const screens = [
      { at: '#/', ready: page.getByTestId('chain') },
      { at: '#/photo-help', ready: page.getByRole('heading', { name: 'Taking the photo' }) },
      { at: '#/pieces', ready: page.getByRole('link', { name: 'Harbour throw' }) },
      { at: `#/pieces/${pieceId}/swatch`, ready: page.locator('polygon.found-reference') },
      { at: `#/pieces/${pieceId}/plan`, ready: page.getByTestId('chain') },
      { at: `#/pieces/${pieceId}/yarn`, ready: page.getByRole('heading', { name: 'Chance of running out' }) },
      { at: `#/pieces/${pieceId}/checks`, ready: page.getByText('Type the number of rows done') },
      { at: '#/pair/NOTACODE23', ready: page.getByRole('alert') },
    ];
    for (const { at, ready } of screens) {
      // Opened afresh, except the start, which has just been.
      if (at !== '#/') {
        await page.goto(`${running.url}${at}`);
        await page.reload();
      }
      await ready.first().waitFor();
      // Folded parts have to be right as well.
      const shifts = await layoutShifts(page);
      const shift = shifts.reduce((sum, { value }) => sum + value, 0);
      expect(shift, `${at} jumps: ${JSON.stringify(shifts)}`).toBeLessThan(0.01);
      for (const fold of await page.locator('main details > summary').all()) await fold.click();
      expect(await sidewaysScroll(page), at).toBe(0);
      expect(await accessibilityFaults(page), at).toEqual([]);
    }
    // The only complaint is about the code that nobody gave out.
    expect(errors.filter((error) => !error.includes('403'))).toEqual([]);
    await leave();
  });
});

describe('Reloaded far down', () => {
  it.each(['plan', 'yarn', 'checks'])('the %s screen keeps still while it is read', async (part) => {
    const { page, leave } = await running.visit('desktop', { serviceWorkers: 'block' });
    const end = page.getByRole('heading', { name: 'Take it along' });
    await page.goto(`${running.url}#/pieces/${pieceId}/${part}`);
    await end.waitFor();
    await page.evaluate(() => scrollTo(0, document.documentElement.scrollHeight));
    // Slow enough for what stands there meanwhile to be painted.
    await page.route(/pieces\/[^/]+$/, async (route) => {
      await new Promise((resolve) => setTimeout(resolve, 400));
      await route.continue();
    });
    await page.reload();
    await end.waitFor();
    expect(await layoutShifts(page)).toEqual([]);
    await page.getByText('Photos and pieces stay').waitFor();
    await leave();
  });
});

describe('For those whom movement makes unwell', () => {
  /** The longest that anything on the screen takes to move or fade, in seconds. */
  const longestMove = (page: Page) =>
    page.evaluate(() =>
      Math.max(
        ...[...document.querySelectorAll('*')].flatMap((one) => {
          const style = getComputedStyle(one);
          return [...style.transitionDuration.split(','), ...style.animationDuration.split(',')].map(
            Number.parseFloat,
          );
        }),
      ),
    );

  it('nothing moves where the device asks for stillness, and little where it does not', async () => {
    for (const [reducedMotion, most] of [
      ['reduce', 0],
      ['no-preference', 0.3],
    ] as const) {
      const { page, leave } = await running.visit('desktop', { reducedMotion });
      await page.getByTestId('chain').waitFor();
      const longest = await longestMove(page);
      expect(longest).toBeLessThanOrEqual(most);
      // Else this would hold without anybody's doing.
      if (reducedMotion === 'no-preference') expect(longest).toBeGreaterThan(0);
      const behaviour = await page.evaluate(() => getComputedStyle(document.documentElement).scrollBehavior);
      if (reducedMotion === 'reduce') expect(behaviour).toBe('auto');
      await leave();
    }
  });
});
