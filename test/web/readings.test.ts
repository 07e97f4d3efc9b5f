/** What the page makes of an answer that is not plain: other readings to choose from, advice in its own words. */
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { AdmittedPhoto, MeasurementJob } from '../../server/api/schemas.ts';
import { accessibilityFaults, openPage, type RunningPage } from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

const whole = (value: number) => ({
  value,
  standardUncertainty: 0.2,
  low95: value - 0.4,
  high95: value + 0.4,
});

/** Lets the page be told something else than what the server measured. */
async function retell(page: Page, change: (job: MeasurementJob) => void): Promise<void> {
  // Measured before, it comes with the sample.
  await page.route('**/api/v1/samples/*/photo', async (route) => {
    const answer = await route.fetch();
    const photo = (await answer.json()) as AdmittedPhoto;
    if (photo.measurement?.measurement) change(photo.measurement);
    await route.fulfill({ response: answer, json: photo });
  });
  await page.route('**/api/v1/measurements/*/events', async (route) => {
    const lines = (await (await route.fetch()).text()).split('\n');
    const told = lines.map((line) => {
      if (!line.startsWith('data: ')) return line;
      const job = JSON.parse(line.slice('data: '.length)) as MeasurementJob;
      if (job.measurement) change(job);
      return `data: ${JSON.stringify(job)}`;
    });
    await route.fulfill({ contentType: 'text/event-stream', body: told.join('\n') });
  });
}

describe('A photo that can be counted in two ways', () => {
  it('shows both, plans with the one she takes, and says what to do in the page’s own words', async () => {
    const { page, leave } = await running.visit('phone');
    await retell(page, ({ measurement }) => {
      const [first] = measurement!.alternatives;
      measurement!.status = 'unsure';
      measurement!.advice = [
        { code: 'two-readings', message: 'words that came with it' },
        { code: 'something-new', message: 'This one the page has no words for.' },
      ];
      measurement!.alternatives = [
        { ...first!, weight: 0.6 },
        { ...first!, rowsPer10cm: first!.rowsPer10cm! / 2, weight: 0.4 },
      ];
    });
    await page.reload();
    await page.getByText('Not sure').waitFor();
    await page.getByText('The pattern can be counted in more than one way.').waitFor();
    expect(await page.getByText('words that came with it').count()).toBe(0);
    await page.getByText('This one the page has no words for.').waitFor();

    // Her word for the stitch would tell which count is meant, so it is asked for here.
    const stitch = page.getByLabel('Which stitch it is');
    expect(await stitch.isVisible()).toBe(true);
    expect(await stitch.inputValue()).toBe('');

    const number = async (of: string) => Number(await page.getByTestId(of).textContent());
    const [rows, planned] = [await number('rows-first'), await number('rows')];
    const readings = page.getByRole('group', { name: 'Other readings' }).getByRole('radio');
    expect(await readings.count()).toBe(2);
    expect(await readings.first().isChecked()).toBe(true);
    await readings.nth(1).check();
    await page.getByText('Your choice among the readings.').waitFor();
    expect((await number('rows-first')) / rows).toBeCloseTo(0.5, 1);
    // Rows twice as high: half as many, but for the border, which is as deep in rounds of half as many.
    expect((await number('rows')) / planned).toBeGreaterThan(0.4);
    expect((await number('rows')) / planned).toBeLessThan(0.6);
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByRole('button', { name: 'Back to the photo’s gauge' }).click();
    expect(await number('rows-first')).toBe(rows);
    await leave();
  });
});

describe('The yarn', () => {
  it('is held against the stitches once she says which it is', async () => {
    const { page, leave } = await running.visit('phone');
    await page.getByText('Measured', { exact: true }).waitFor();
    await page.getByText('How it was measured; other readings; typing it in').click();
    const yarn = page.getByLabel('Which yarn it is');
    await yarn.selectOption('0, lace');
    await page.getByText('This number of stitches is unusual for this yarn.').waitFor();
    await page.getByText('Not sure').waitFor();
    expect(await yarn.inputValue()).toBe('0');
    await yarn.selectOption('3, light');
    await page.getByText('Measured', { exact: true }).waitFor();
    expect(await page.getByText('This number of stitches is unusual for this yarn.').count()).toBe(0);
    // What is usual in it is another number once the stitch is named, and it stays the yarn she chose.
    await page.getByLabel('Which stitch it is').selectOption('hdc');
    await page.getByText('Measured', { exact: true }).waitFor();
    expect(await yarn.inputValue()).toBe('3');
    await leave();
  });
});

describe('A photo without anything of known size', () => {
  it('gets no number, but advice, and a gauge can be typed', async () => {
    const { page, leave } = await running.visit('desktop');
    await retell(page, ({ measurement }) => {
      Object.assign(measurement!, { status: 'refused', gauge: null, scale: null, alternatives: [] });
      measurement!.counted = { stitches: null, rows: null };
      measurement!.advice = [{ code: 'no-reference', message: 'words that came with it' }];
    });
    await page.reload();
    await page.getByText('No number').waitFor();
    await page.getByText('Nothing of known size was found.').waitFor();
    expect(await page.getByTestId('chain').count()).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.locator('summary', { hasText: 'How it was measured' }).click();
    await page.getByLabel('Stitches in 4 in').fill('15');
    await page.getByLabel('Rows in 4 in').fill('11');
    await page.getByRole('button', { name: 'Use these' }).click();
    await page.getByTestId('chain').waitFor();
    await leave();
  });
});

describe('A photo whose stitches were counted without anything of known size', () => {
  it('says what was counted, and what the gauge takes', async () => {
    const { page, leave } = await running.visit('desktop');
    await retell(page, ({ measurement }) => {
      Object.assign(measurement!, {
        status: 'refused',
        gauge: null,
        scale: null,
        lattice: null,
        alternatives: [],
      });
      measurement!.counted = { stitches: whole(21), rows: { ...whole(16), orElse: 17 } };
      measurement!.advice = [{ code: 'no-reference', message: 'words that came with it' }];
    });
    await page.reload();
    await page.getByText('Counted', { exact: true }).waitFor();
    await page.getByTestId('status').getByText('From edge to edge: 21 stitches, 16 or 17 rows.').waitFor();
    await page.getByText('Nothing of known size was found.').waitFor();
    expect(await page.getByText('No number').count()).toBe(0);
    expect(await page.getByTestId('chain').count()).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    await leave();
  });
});

describe('What is drawn over the photo', () => {
  it('is switched on and off, line by line; every fifth line has its number', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    for (const [name, drawn] of [
      ['Rows', 'polyline.found-row'],
      ['Stitches', 'polyline.found-stitch'],
      ['Outlines', 'polygon.found-reference'],
    ] as const) {
      expect(await page.locator(drawn).count(), name).toBeGreaterThan(0);
      await page.getByRole('checkbox', { name }).uncheck();
      expect(await page.locator(drawn).count(), name).toBe(0);
      await page.getByRole('checkbox', { name }).check();
      expect(await page.locator(drawn).count(), name).toBeGreaterThan(0);
    }
    const lines = await page.locator('polyline.found-stitch').count();
    const numbers = await page.locator('.found-stitch-number').allTextContents();
    expect(numbers.map(Number)).toEqual(
      Array.from({ length: Math.floor((lines - 1) / 5) }, (_, i) => 5 * (i + 1)),
    );
    await leave();
  });
});

describe('The measuring sheet', () => {
  it.each(['A4', 'Letter'])('is a link away, on %s', async (paper) => {
    const { page, leave } = await running.visit('phone');
    await page.getByRole('link', { name: 'Taking the photo' }).first().click();
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('link', { name: `Measuring sheet, ${paper} (PDF)` }).click(),
    ]);
    expect(download.suggestedFilename()).toBe(`measuring-sheet-${paper.toLowerCase()}.pdf`);
    await leave();
  });
});
