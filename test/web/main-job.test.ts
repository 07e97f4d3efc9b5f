import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { accessibilityFaults, openPage, SCREENS, sidewaysScroll, type RunningPage } from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

describe.each(Object.keys(SCREENS) as (keyof typeof SCREENS)[])('The main job on a %s', (screen) => {
  it('measures the sample by itself, takes a typed size, and answers with chain, rows and yarn', async () => {
    const { page, errors, leave } = await running.visit(screen);

    // No click so far: the sample is there and being measured.
    await page.getByTestId('status').waitFor();
    expect(await page.getByTestId('status').getAttribute('data-status')).not.toBe('refused');
    const stitchesPer4in = Number(await page.getByTestId('stitches-first').textContent());
    const rowsPer4in = Number(await page.getByTestId('rows-first').textContent());
    expect(stitchesPer4in).toBeGreaterThan(4);
    expect(rowsPer4in).toBeGreaterThan(3);

    // What was found is drawn over the photo: the reference, the fabric, and a line between all neighbours.
    expect(await page.locator('polygon.found-reference').count()).toBe(1);
    expect(await page.locator('polygon.found-fabric').count()).toBe(1);
    expect(await page.locator('polyline.found-row').count()).toBeGreaterThan(5);
    expect(await page.locator('polyline.found-stitch').count()).toBeGreaterThan(5);
    expect(await page.locator('text.found-row-number').first().textContent()).toBe('5');
    await page.getByLabel('Rows', { exact: true }).uncheck();
    expect(await page.locator('polyline.found-row').count()).toBe(0);

    // A size typed the way people type it.
    await page.getByLabel('Width', { exact: true }).fill('2 ft 11');
    await page.getByLabel('Height', { exact: true }).fill('40"');
    const chain = Number(await page.getByTestId('chain').textContent());
    const rows = Number(await page.getByTestId('rows').textContent());
    expect(chain % 10).toBe(2); // multiple of 10, plus 2
    expect(rows).toBeGreaterThan(10);
    // The nearest multiple of ten stitches is within half a repeat of 35 in, border included.
    const size = (await page.getByTestId('size').textContent()) ?? '';
    const [width = NaN, height = NaN] = size.split('×').map((side) => Number.parseFloat(side));
    expect(Math.abs(width - 35)).toBeLessThanOrEqual((10 / stitchesPer4in) * 4 * 0.5 + 0.1);
    expect(Math.abs(height - 40)).toBeLessThanOrEqual((1 / rowsPer4in) * 4 * 0.5 + 0.1);
    expect(Number(await page.getByTestId('skeins-a').textContent())).toBeGreaterThan(0);
    await page.getByText(`Chain ${chain} (`).waitFor(); // in the written instructions too

    // Another size, another chain, at once.
    await page.getByLabel('Width', { exact: true }).fill('180 cm');
    await expect
      .poll(async () => Number(await page.getByTestId('chain').textContent()))
      .toBeGreaterThan(chain);

    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('Typing and units', () => {
  it('says what is wrong with a size it cannot read, and keeps the last good answer', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    const before = await page.getByTestId('chain').textContent();
    await page.getByLabel('Width', { exact: true }).fill('as wide as the sofa');
    await page.getByRole('alert').waitFor();
    expect(await page.getByTestId('chain').textContent()).toBe(before);
    await leave();
  });

  it('switches centimetres and inches, US and UK everywhere, and shows the caution for a baby size', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('size').waitFor();
    expect(await page.getByTestId('size').textContent()).toContain('in');
    await page.getByRole('radio', { name: 'cm' }).check();
    expect(await page.getByTestId('size').textContent()).toContain('cm');
    await page.getByRole('radio', { name: 'UK' }).check();
    await page.getByText('half treble into the').waitFor();

    await page.getByLabel('Usual sizes').selectOption('baby-blanket');
    await page.getByText('If it is for a baby').waitFor();
    await page.getByLabel('Usual sizes').selectOption('throw');
    await expect.poll(() => page.getByText('If it is for a baby').count()).toBe(0);
    await leave();
  });
});
