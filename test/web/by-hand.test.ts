/** Bringing a photo in and looking at it by every kind of hand: drop, paste, fingers, keys; and stopping half-way. */
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Locator, Page } from 'playwright-core';
import type { AdmittedPhoto } from '../../server/api/schemas.ts';
import { blankPng } from '../server/blankPng.ts';
import { openPage, type RunningPage } from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

/** Hands the page the picture of the second sample as a file, in a drop or from the clipboard. */
function handOver(page: Page, how: 'drop' | 'paste'): Promise<void> {
  return page.evaluate(async (way) => {
    const samples = (await (await fetch('/api/v1/samples')).json()) as { name: string }[];
    const picture = await fetch(`/api/v1/samples/${samples[1]!.name}/image?widthPx=2048`);
    const held = new DataTransfer();
    held.items.add(new File([await picture.blob()], 'swatch.jpg', { type: 'image/jpeg' }));
    if (way === 'paste')
      document.body.dispatchEvent(new ClipboardEvent('paste', { clipboardData: held, bubbles: true }));
    else {
      for (const step of ['dragover', 'drop'])
        document.body.dispatchEvent(
          new DragEvent(step, { dataTransfer: held, bubbles: true, cancelable: true }),
        );
    }
  }, how);
}

const zoomWidth = async (photo: Locator) => Number((await photo.getAttribute('viewBox'))?.split(' ')[2]);

describe('Bringing a photo in', () => {
  it.each(['drop', 'paste'] as const)('by %s anywhere on the page', async (how) => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    const sent = page.waitForResponse(
      (answer) => answer.url().endsWith('/api/v1/photos') && answer.request().method() === 'POST',
    );
    await handOver(page, how);
    const photo = (await (await sent).json()) as AdmittedPhoto;
    expect(photo.measurement?.photoId).toBe(photo.id);
    await page.getByTestId('status').waitFor();
    expect(await page.locator('.photo-view-picture > image').getAttribute('href')).toMatch(/^blob:/);
    // Her own photo is no sample any more.
    expect(await page.getByText('This is a sample.').count()).toBe(0);
    // Nor is she told about the sample, or given its yarns to buy; the size she may have typed stays.
    expect(await page.getByRole('region', { name: 'How this works' }).count()).toBe(0);
    expect(await page.getByText('Slate').count()).toBe(0);
    expect(await page.getByLabel('Yarn 1', { exact: true }).inputValue()).toBe('Yarn 1');
    // Which stitch it is she knows better than the photo does.
    await page.getByRole('button', { name: 'It is half double crochet' }).click();
    await page.getByTestId('size').waitFor();
    expect(await page.getByTestId('size').textContent()).toMatch(/^47/);
    // Nothing is known of her yarn: she is led to where its label is filled in.
    await page.getByRole('button', { name: 'Fill in the label' }).click();
    expect(await page.getByLabel('Skein, g').evaluate((one) => one === document.activeElement)).toBe(true);
    expect(errors).toEqual([]);
    await leave();
  });

  it('from the note that is pinned on for the first visit, and it is in sight', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('status').waitFor();
    await page
      .getByLabel('Measure my own swatch')
      .setInputFiles(join(import.meta.dirname, '../../fixtures/samples/hdc-swatch-card.jpg'));
    await expect.poll(() => page.getByRole('region', { name: 'How this works' }).count()).toBe(0);
    await page.getByTestId('status').waitFor();
    expect(await page.getByText('This is a sample.').count()).toBe(0);
    const photo = (await page.locator('.photo-view-picture').boundingBox())!;
    expect(photo.y).toBeGreaterThanOrEqual(0);
    expect(photo.y + photo.height).toBeLessThanOrEqual(780);
    await leave();
  });

  it('shows where to let go while a photo is held over the page', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    const drag = (step: string) =>
      page.evaluate((type) => {
        const held = new DataTransfer();
        held.items.add(new File(['x'], 'swatch.jpg', { type: 'image/jpeg' }));
        document.body.dispatchEvent(
          new DragEvent(type, { dataTransfer: held, bubbles: true, cancelable: true }),
        );
      }, step);
    await drag('dragover');
    await page.getByText('Let go to measure this photo').waitFor();
    await drag('dragleave');
    await page.getByText('Let go to measure this photo').waitFor({ state: 'detached' });
    await leave();
  });
});

describe('Looking at the photo', () => {
  it('with two fingers: apart to go closer, together to go back', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('status').waitFor();
    const photo = page.locator('.photo-view-picture');
    await page.getByRole('button', { name: 'Whole photo' }).click();
    const whole = await zoomWidth(photo);
    await photo.scrollIntoViewIfNeeded();
    const box = (await photo.boundingBox())!;
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    const cdp = await page.context().newCDPSession(page);
    const fingers = (apart: number) => [
      { x: x - apart / 2, y, id: 0 },
      { x: x + apart / 2, y, id: 1 },
    ];
    const pinch = async (from: number, to: number) => {
      await cdp.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: fingers(from) });
      for (let step = 1; step <= 8; step++)
        await cdp.send('Input.dispatchTouchEvent', {
          type: 'touchMove',
          touchPoints: fingers(from + ((to - from) * step) / 8),
        });
      await cdp.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
    };
    await pinch(60, 180);
    await expect.poll(() => zoomWidth(photo)).toBeLessThan(whole * 0.6);
    await pinch(200, 50);
    await expect.poll(() => zoomWidth(photo)).toBeGreaterThan(whole * 0.9);
    // The page itself did not zoom.
    expect(await page.evaluate(() => visualViewport?.scale)).toBe(1);
    await leave();
  });

  it('with one finger: it scrolls the page, until she has gone closer herself', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('status').waitFor();
    const photo = page.locator('.photo-view-picture');
    const oneFinger = () => photo.evaluate((one) => getComputedStyle(one).touchAction);
    expect(await oneFinger()).toBe('pan-y'); // though it is shown closer already, where the swatch is
    await page.getByRole('button', { name: 'Closer' }).click();
    expect(await oneFinger()).toBe('none');
    await page.getByRole('button', { name: 'Whole photo' }).click();
    expect(await oneFinger()).toBe('pan-y');
    await leave();
  });

  it('that was taken upright: it has the height it needs', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByTestId('status').waitFor();
    const photo = page.locator('.photo-view-picture');
    const shape = async () => {
      const { width, height } = (await photo.boundingBox())!;
      return height / width;
    };
    expect(await shape()).toBeCloseTo(3 / 4, 1);
    await page
      .getByLabel('Choose a photo')
      .setInputFiles({ name: 'upright.png', mimeType: 'image/png', buffer: blankPng(600, 800) });
    await expect.poll(shape).toBeCloseTo(4 / 3, 1);
    await leave();
  });

  it('with the mouse: the wheel with Ctrl goes closer about the pointer, dragging moves it', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    const photo = page.locator('.photo-view-picture');
    await page.getByRole('button', { name: 'Whole photo' }).click();
    const whole = await zoomWidth(photo);
    const box = (await photo.boundingBox())!;
    await page.mouse.move(box.x + box.width / 3, box.y + box.height / 3);
    await page.keyboard.down('Control');
    await page.mouse.wheel(0, -300);
    await page.keyboard.up('Control');
    await expect.poll(() => zoomWidth(photo)).toBeLessThan(whole * 0.6);
    const left = async () => Number((await photo.getAttribute('viewBox'))?.split(' ')[0]);
    const before = await left();
    await page.mouse.down();
    await page.mouse.move(box.x + box.width / 3 - 60, box.y + box.height / 3, { steps: 4 });
    await page.mouse.up();
    expect(await left()).toBeGreaterThan(before);
    await leave();
  });

  it('as a map of evenness, and laid flat with a ruler that agrees with the gauge', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    await page.getByLabel('Evenness').selectOption('stitches');
    const places = page.locator('.found-cell-number');
    expect(await places.count()).toBeGreaterThan(3);
    const gauge = Number(await page.getByTestId('stitches-first').textContent());
    const local = (await places.allTextContents()).map(Number).sort((a, b) => a - b);
    expect(Math.abs(local[Math.floor(local.length / 2)]! / gauge - 1)).toBeLessThan(0.05);
    // In the maker's units, like the gauge beside it.
    await page.getByRole('radio', { name: 'cm' }).check();
    const perTen = (await places.allTextContents()).map(Number);
    const mean = (values: number[]) => values.reduce((sum, one) => sum + one, 0) / values.length;
    expect(mean(local) / mean(perTen)).toBeCloseTo(1.016, 2); // 4 in = 10.16 cm
    // The lines make way for the map.
    expect(await page.locator('polyline.found-row').count()).toBe(0);

    await page.locator('summary', { hasText: 'See it laid flat' }).click();
    await page.getByAltText('The swatch laid flat, with a ruler').waitFor();
    expect(await page.locator('.flat-ruler').count()).toBe(2);
    await leave();
  });
});

describe('While a photo is being measured', () => {
  it('tells the stages as they finish, and stops when asked to; the photo can be measured again', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    const begun = page.waitForResponse(
      (answer) => answer.url().endsWith('/photo') && answer.request().method() === 'POST',
    );
    await page.getByRole('button', { name: 'Above a ruler: stockinette' }).click();
    // In the page, so that the measuring cannot be over before the click gets there.
    const seen = await page.evaluate(
      () =>
        new Promise<{ now: string; done: number; all: number }>((resolve) => {
          const look = () => {
            const done = document.querySelectorAll('.stages-row li[data-done]').length;
            const stop = document.querySelector<HTMLButtonElement>('.stages button');
            if (done === 0 || !stop) return void requestAnimationFrame(look);
            const now = document.querySelector('.stages-now')?.textContent ?? '';
            const all = document.querySelectorAll('.stages-row li').length;
            stop.click();
            resolve({ now, done, all });
          };
          look();
        }),
    );
    expect(seen.now).toMatch(/\S…$/);
    expect(seen.done).toBeLessThan(seen.all);
    await page.getByText('Stopped. The photo is still here.').waitFor();
    expect(await page.getByTestId('status').count()).toBe(0);
    const { id } = ((await (await begun).json()) as AdmittedPhoto).measurement!;
    const state = () =>
      page.evaluate(
        async (one) =>
          ((await (await fetch(`/api/v1/measurements/${one}`)).json()) as { state: string }).state,
        id,
      );
    await expect.poll(state).toBe('cancelled');

    await page.getByRole('button', { name: 'Measure again' }).click();
    await page.getByTestId('status').waitFor();
    expect(await page.getByText('Stopped.').count()).toBe(0);
    await leave();
  });
});

describe('With the keyboard alone', () => {
  it('a maker marks a count, types her size, and keeps the piece', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    const tabTo = async (goal: Locator) => {
      for (let presses = 0; presses < 120; presses++) {
        await page.keyboard.press('Tab');
        if ((await goal.count()) && (await goal.evaluate((one) => one === document.activeElement))) return;
      }
      throw new Error(`the Tab key never gets to ${goal.toString()}`);
    };
    await page.keyboard.press('Tab');
    await page.keyboard.press('Enter'); // skips to the work
    await tabTo(page.locator('summary', { hasText: 'Put the reading right' }));
    await page.keyboard.press('Enter');
    await tabTo(page.getByRole('button', { name: 'Count between two marks' }));
    await page.keyboard.press('Enter');
    await tabTo(page.getByRole('button', { name: 'Leave it' }));
    await page.keyboard.press('Enter');
    await tabTo(page.getByLabel('Width', { exact: true }));
    await page.keyboard.press('Control+A');
    await page.keyboard.type('90 cm');
    expect(await page.getByTestId('chain').textContent()).not.toBe('');
    await tabTo(page.getByLabel('What is it?'));
    await page.keyboard.type('Window seat');
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Take it along' }).waitFor();
    expect(await page.getByLabel('Name of the piece').inputValue()).toBe('Window seat');
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('The yarn of a piece', () => {
  it('is reckoned from unravelled stitches too, and says whether one dye lot is enough', async () => {
    const { page, errors, leave } = await running.visit('phone', { locale: 'en-GB' });
    await page.getByTestId('chain').waitFor();
    await page.getByRole('button', { name: 'Keep as a piece' }).click();
    await page.getByRole('link', { name: 'Yarn', exact: true }).click();
    await page.getByText('Worked out from the skein’s label').waitFor();
    const need = async () => {
      const row = page.getByRole('row', { name: /^Slate/ }).first();
      return Number.parseFloat((await row.locator('td').first().textContent()) ?? '');
    };
    const fromLabel = await need();
    await page.getByLabel('Stitches pulled out').fill('20');
    await page.getByLabel('Yarn out of them').fill('120 cm');
    expect(await page.getByTestId('per-stitch').textContent()).toMatch(/6\.00\scm of yarn a stitch/);
    await page.getByText('the unravelled length').waitFor();
    const unravelled = await need();
    expect(unravelled).not.toBe(fromLabel);
    await page.getByLabel('Yarn out of them').fill('150 cm');
    await expect.poll(need).toBeGreaterThan(unravelled);

    await page.getByRole('button', { name: 'Add a lot of Slate' }).click();
    await page.getByText('with its 1 skein alone the chance of running out is over 99%').waitFor();
    await page.getByLabel('Skeins of Slate, lot 1').fill('40');
    await page.getByText('its 40 skeins are enough by themselves').waitFor();
    await page.getByText('All changes are kept.').waitFor();
    await page.reload();
    await page.getByText('its 40 skeins are enough by themselves').waitFor();
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('Where the colours go', () => {
  it('is pictured to scale beside the fields, and every change shows at once', async () => {
    const { page, leave } = await running.visit('phone', { locale: 'en-GB' });
    await page.getByTestId('chain').waitFor();
    const picture = page.locator('.layout-picture .piece-picture');
    const bands = () => picture.locator('rect').count();
    const stripes = await bands();
    await page.getByLabel('Rows of stripe 1').fill('20');
    await expect.poll(bands).toBeLessThan(stripes);
    await page.getByRole('button', { name: 'Move stripe 2 one up the list' }).click();
    expect(await page.getByLabel('Rows of stripe 2').inputValue()).toBe('20');
    await page.getByLabel('End the stripes with').selectOption('c');
    await page.getByText(/and end with Rust in row/).waitFor();
    await page.getByRole('radio', { name: 'blocks' }).check();
    await expect.poll(bands).toBeGreaterThan(stripes);
    // To scale: as wide to high as the finished size says.
    const [width, height] = ((await page.getByTestId('size').textContent()) ?? '')
      .split('×')
      .map((side) => Number.parseFloat(side));
    const outer = picture.locator('rect').first();
    const drawn = Number(await outer.getAttribute('width')) / Number(await outer.getAttribute('height'));
    expect(drawn).toBeCloseTo(width! / height!, 2);
    await leave();
  });
});
