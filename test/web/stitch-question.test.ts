/** Which stitch a swatch of her own is worked in: asked before anything is planned, since the count hangs on it. */
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { isStitchUnsaid } from '../../web/swatch/stitch-unsaid.ts';
import type { Measuring } from '../../web/swatch/use-measuring.ts';
import { accessibilityFaults, openPage, SCREENS, sidewaysScroll, type RunningPage } from './support.ts';

const OWN_PHOTO = join(import.meta.dirname, '../../fixtures/samples/hdc-swatch-card.jpg');

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

/** Brings a photo of her own in and answers with the question about it. */
async function ask(page: Page) {
  await page.getByTestId('chain').waitFor(); // of the sample, which nobody is asked about
  const question = page.getByRole('group', { name: 'Which stitch is it?' });
  expect(await question.count()).toBe(0);
  await page.getByLabel('Choose a photo').setInputFiles(OWN_PHOTO);
  await question.waitFor();
  return question;
}

describe.each(Object.keys(SCREENS) as (keyof typeof SCREENS)[])('A swatch of her own, on a %s', (screen) => {
  it('is planned with once she has said which stitch it is, and is read again as that', async () => {
    const { page, errors, leave } = await running.visit(screen);
    const question = await ask(page);
    await question.getByText('It looks like half double crochet or').waitFor();
    // The numbers and lines are there to look at; nothing follows from them yet.
    await page.getByTestId('stitches-first').waitFor();
    expect(await page.locator('polyline.found-row').count()).toBeGreaterThan(5);
    expect(await page.getByTestId('chain').count()).toBe(0);
    expect(await page.getByRole('button', { name: 'Keep as a piece' }).count()).toBe(0);
    await page.getByText('First say, under the photo, which stitch it is').first().waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);

    const asked = page.waitForRequest(
      (request) => request.method() === 'POST' && request.url().endsWith('/measurements'),
    );
    await question.getByRole('button', { name: 'It is half double crochet' }).click();
    expect((await asked).postDataJSON()).toMatchObject({ options: { stitch: 'hdc' } });
    await page.getByTestId('chain').waitFor();
    expect(await question.count()).toBe(0);
    expect(await page.getByLabel('Worked in').inputValue()).toBe('hdc');
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('Another answer', () => {
  it('is another stitch: the plan is for that one', async () => {
    const { page, leave } = await running.visit('desktop');
    const question = await ask(page);
    await question.getByLabel('Another stitch').selectOption('herringbone-hdc');
    await page.getByTestId('chain').waitFor();
    expect(await page.getByLabel('Worked in').inputValue()).toBe('herringbone-hdc');
    expect(await page.getByLabel('Which stitch it is').inputValue()).toBe('herringbone-hdc');
    await leave();
  });

  it('is that it is not listed: then the photo has to do', async () => {
    const { page, leave } = await running.visit('desktop');
    const question = await ask(page);
    await question.getByRole('button', { name: 'Not in the list' }).click();
    await page.getByTestId('chain').waitFor();
    expect(await question.count()).toBe(0);
    await leave();
  });

  it('is given where the plan is made', async () => {
    const { page, leave } = await running.visit('desktop');
    const question = await ask(page);
    await page.getByLabel('Worked in').selectOption('herringbone-hdc');
    await page.getByTestId('chain').waitFor();
    expect(await question.count()).toBe(0);
    await leave();
  });
});

describe('isStitchUnsaid', () => {
  const read = {
    photo: { id: 'p', widthPx: 4, heightPx: 3, src: '', isSample: false },
    job: { measurement: { gauge: {} } },
    options: {},
  } as unknown as Measuring;

  it.each<[string, Partial<Measuring>, boolean]>([
    ['a photo of her own', {}, true],
    ['a sample', { photo: { ...read.photo!, isSample: true } }, false],
    ['a named stitch', { options: { stitch: 'dc' } }, false],
    ['nothing read yet', { job: null }, false],
    [
      'a count of her own',
      {
        options: {
          corrections: [
            {
              axis: 'rows',
              count: 4,
              pointsPx: [
                { x: 0, y: 0 },
                { x: 0, y: 9 },
              ],
            },
          ],
        },
      },
      false,
    ],
  ])('of %s', (_, change, unsaid) => {
    expect(isStitchUnsaid({ ...read, ...change })).toBe(unsaid);
  });
});
