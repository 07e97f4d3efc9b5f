import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  accessibilityFaults,
  firstViewBytes,
  layoutShift,
  openPage,
  SCREENS,
  sidewaysScroll,
  type RunningPage,
} from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

describe.each(Object.keys(SCREENS) as (keyof typeof SCREENS)[])('The main job on a %s', (screen) => {
  it('measures the sample by itself, takes a typed size, and answers with chain, rows and yarn', async () => {
    const { page, errors, leave } = await running.visit(
      screen,
      screen === 'phone' ? { colorScheme: 'dark', reducedMotion: 'reduce' } : {},
    );

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
  it('plans in the stitch the photo shows: knitting is cast on', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    await page.getByText('Chain', { exact: true }).waitFor();
    await page.getByRole('button', { name: 'Above a ruler: stockinette' }).click();
    await page.getByText('Cast on', { exact: true }).waitFor();
    expect(await page.getByLabel('Worked in').inputValue()).toBe('stockinette');
    // Her own word for it stays, whatever the photo shows.
    await page.getByLabel('Worked in').selectOption('garter');
    await page.locator('summary', { hasText: 'How it was measured' }).click();
    await page.getByText('Scale from the ruler').waitFor();
    await leave();
  });

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
    await page.getByRole('button', { name: 'Beside a card: half treble' }).waitFor();

    await page.getByLabel('Usual sizes').selectOption('baby-blanket');
    await page.getByText('If it is for a baby').waitFor();
    await page.getByLabel('Usual sizes').selectOption('throw');
    await expect.poll(() => page.getByText('If it is for a baby').count()).toBe(0);
    await leave();
  });
});

describe('Putting a reading right', () => {
  it('by dragging a mark with the mouse and nudging one with the keys, and measuring again with the count', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    const before = Number(await page.getByTestId('stitches-first').textContent());

    await page.locator('summary', { hasText: 'Put the reading right' }).click();
    await page.getByRole('button', { name: 'Count between two marks' }).click();
    const mark = page.getByRole('button', { name: 'Mark 2' });
    const place = async () => (await mark.locator('.handle-dot').getAttribute('cx')) ?? '';
    const start = await place();
    const box = (await mark.boundingBox())!;
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x - 30, y, { steps: 3 });
    await page.mouse.move(x, y, { steps: 3 });
    await page.mouse.up();
    expect(Number(await place())).toBeCloseTo(Number(start), 0); // there and back again
    await mark.focus();
    await page.keyboard.press('ArrowRight');
    expect(Number(await place())).toBeGreaterThan(Number(start));
    await page.keyboard.press('ArrowLeft');

    // She counts 11 where the reader saw 10: the gauge follows her by about a tenth.
    await page.getByLabel('Between the marks there are').fill('11');
    await page.getByRole('button', { name: 'Measure with this' }).click();
    await page.getByText('Measured with your corrections.').waitFor();
    const after = Number(await page.getByTestId('stitches-first').textContent());
    expect(after / before).toBeGreaterThan(1.05);
    expect(after / before).toBeLessThan(1.15);

    await page.getByRole('button', { name: 'Forget all corrections' }).click();
    // The kept photo was encoded anew when its card's face was blurred: the last shown digit may turn over.
    await expect
      .poll(async () => Math.abs(Number(await page.getByTestId('stitches-first').textContent()) - before), {
        timeout: 20_000,
      })
      .toBeLessThan(0.15);
    expect(errors).toEqual([]);
    await leave();
  });

  it('lets the photo be looked at with the keyboard alone', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    const photo = page.locator('.photo-view-picture');
    const width = async () => Number((await photo.getAttribute('viewBox'))?.split(' ')[2]);
    await page.keyboard.press('Tab');
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe('Skip to the work');
    await page.keyboard.press('Enter');
    for (let steps = 0; steps < 8; steps++) {
      await page.keyboard.press('Tab');
      if (await photo.evaluate((one) => one === document.activeElement)) break;
    }
    expect(await photo.evaluate((one) => one === document.activeElement)).toBe(true);
    await page.keyboard.press('0');
    const whole = await width();
    await page.keyboard.press('+');
    expect(await width()).toBeLessThan(whole);
    await page.keyboard.press('0');
    expect(await width()).toBeCloseTo(whole);
    await leave();
  });
});

describe('What the page weighs and how it settles', () => {
  it('asks for at most 250 kB, compressed, before the photo', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    expect(await firstViewBytes(page, running.pageFolder)).toBeLessThanOrEqual(250_000);
    await leave();
  });

  it('does not jump about while the numbers come in', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('chain').waitFor();
    expect(await layoutShift(page)).toBeLessThan(0.01);
    await leave();
  });
});
