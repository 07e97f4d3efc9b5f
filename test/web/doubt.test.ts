/** A reference that may not be what it was taken for: asked about before anything is planned from it. */
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { AdmittedPhoto, MeasurementJob } from '../../server/api/schemas.ts';
import type { Measurement } from '../../vision/measurement.ts';
import {
  chosenReference,
  measuredBy,
  REFERENCE_CHOICES,
  referenceDoubt,
} from '../../web/swatch/reference-doubt.ts';
import {
  accessibilityFaults,
  keepPiece,
  openPage,
  SCREENS,
  sidewaysScroll,
  type RunningPage,
} from './support.ts';

const SAMPLE = join(import.meta.dirname, '../../fixtures/samples/hdc-swatch-card.jpg');

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
  const { page, leave } = await running.visit('desktop');
  await page.getByTestId('chain').waitFor(); // now its measurement is known
  await leave();
});
afterAll(() => running?.close());

/** The sample's own measurement, as it would be with a card that is hardly one, or with none. */
const UNSURE = (measurement: Measurement): Measurement => ({
  ...measurement,
  status: 'unsure',
  scale: measurement.scale && { ...measurement.scale, confidence: 0.62 },
  advice: [{ code: 'reference-unsure', message: 'It is not certain what the scale was taken from.' }],
});
const REFUSED = (measurement: Measurement): Measurement => ({
  ...measurement,
  status: 'refused',
  scale: null,
  gauge: null,
  lattice: null,
  localGauge: [],
  alternatives: [],
  overlay: null,
  advice: [{ code: 'no-reference', message: 'Nothing of known size was found.' }],
});

async function openWith(page: Page, change: (measurement: Measurement) => Measurement): Promise<void> {
  await page.route('**/samples/*/photo', async (route) => {
    const answer = await route.fetch();
    const { measurement: job, ...photo } = (await answer.json()) as AdmittedPhoto;
    const changed = job && { ...job, measurement: job.measurement && change(job.measurement) };
    await route.fulfill({ response: answer, json: { ...photo, measurement: changed } });
  });
  await page.reload();
  await page.getByTestId('status').waitFor();
}

describe.each(Object.keys(SCREENS) as (keyof typeof SCREENS)[])('A doubtful card, on a %s', (screen) => {
  it('is asked about, and nothing is planned until she says that it is hers', async () => {
    const { page, errors, leave } = await running.visit(screen, { serviceWorkers: 'block' });
    await openWith(page, UNSURE);
    const question = page.getByRole('group', { name: 'Is the outlined thing your card?' });
    await question.waitFor();
    // The outline alone is on the picture, and in view.
    expect(await page.locator('polygon.found-reference').count()).toBe(1);
    expect(await page.locator('polyline.found-row').count()).toBe(0);
    await page.getByTestId('stitches-first').waitFor(); // shown, but not worked with
    expect(await page.getByTestId('chain').count()).toBe(0);
    expect(await page.getByRole('button', { name: 'Keep as a piece' }).count()).toBe(0);
    await page.getByText('First say, under the photo').first().waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);

    await question.getByRole('button', { name: 'Yes, it is' }).click();
    await page.getByTestId('chain').waitFor();
    expect(await question.count()).toBe(0);
    expect(await page.locator('polyline.found-row').count()).toBeGreaterThan(5);
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('A doubtful card in a kept piece', () => {
  it('is asked about once: what she found right is not asked again', async () => {
    const { page, errors, leave } = await running.visit('desktop', { serviceWorkers: 'block' });
    await keepPiece(page, 'Doubtful throw');
    const changed = (job: MeasurementJob) => ({
      ...job,
      measurement: job.measurement && UNSURE(job.measurement),
    });
    await page.route('**/api/v1/measurements/*/events', async (route) => {
      const told = (await (await route.fetch()).text()).replaceAll(
        /^data: (.*)$/gm,
        (_, job: string) => `data: ${JSON.stringify(changed(JSON.parse(job) as MeasurementJob))}`,
      );
      await route.fulfill({ contentType: 'text/event-stream', body: told });
    });
    await page.route(/measurements\/[^/]+$/, async (route) => {
      const answer = await route.fetch();
      await route.fulfill({ response: answer, json: changed((await answer.json()) as MeasurementJob) });
    });

    await page.getByRole('link', { name: 'Swatch', exact: true }).click();
    await page.getByLabel('Choose a photo').setInputFiles(SAMPLE);
    const question = page.getByRole('group', { name: 'Is the outlined thing your card?' });
    await question.waitFor();
    await page.getByText('All changes are kept.').waitFor();
    // Looked at again before she has answered, it is asked again, and still nothing is planned.
    await page.reload();
    await question.waitFor();
    await page.getByRole('link', { name: 'Plan', exact: true }).click();
    await page.getByText('First say, under the photo').waitFor();
    expect(await page.getByTestId('chain').count()).toBe(0);

    await page.getByRole('link', { name: 'Swatch', exact: true }).click();
    await page.getByRole('button', { name: 'Yes, it is' }).click();
    await page.getByRole('button', { name: 'Not in the list' }).click();
    await page.getByText('Keeping…').waitFor();
    await page.getByText('All changes are kept.').waitFor();
    await page.reload();
    await page.locator('polyline.found-row').first().waitFor();
    expect(await question.count()).toBe(0);
    await page.getByRole('link', { name: 'Plan', exact: true }).click();
    await page.getByTestId('chain').waitFor();
    expect(errors).toEqual([]);
    await leave();
  });
});

describe('A reference that is wrong or missing', () => {
  it('is put right with one tap: marks lie on its corners, ready to be dragged', async () => {
    const { page, leave } = await running.visit('phone', { serviceWorkers: 'block' });
    await openWith(page, UNSURE);
    await page.getByRole('button', { name: 'Put its corners right' }).click();
    const corner = page.getByRole('button', { name: 'Corner 1' });
    await corner.waitFor();
    expect(await page.locator('.handle').count()).toBe(4);
    await page.getByLabel('What is it?').first().selectOption('card');
    await page.getByRole('button', { name: 'Measure with this' }).click();
    // Marks of her own are not doubted.
    await page.getByTestId('chain').waitFor();
    expect(await page.getByText('Is the outlined thing').count()).toBe(0);
    await leave();
  });

  it('is taken from something else where she says so', async () => {
    const { page, leave } = await running.visit('desktop', { serviceWorkers: 'block' });
    await openWith(page, REFUSED);
    await page.getByRole('group', { name: 'What gives the scale here?' }).waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    const asked = page.waitForRequest((request) => request.url().endsWith('/measurements'));
    await page.getByLabel('What the scale is to be taken from').selectOption('card');
    expect((await asked).postDataJSON()).toMatchObject({ options: { reference: 'card' } });
    await page.getByTestId('chain').waitFor();
    await leave();
  });

  it('is asked for as a size of paper in one go', () => {
    expect(measuredBy({ stitch: 'hdc', reference: 'manual' }, 'a5')).toEqual({
      stitch: 'hdc',
      reference: 'paper',
      paperSize: 'a5',
    });
    expect(measuredBy({ reference: 'paper', paperSize: 'a4' }, 'ruler')).toEqual({ reference: 'ruler' });
    // And shown as what she said.
    for (const choice of REFERENCE_CHOICES) expect(chosenReference(measuredBy({}, choice))).toBe(choice);
    expect(chosenReference(measuredBy({ reference: 'tape' }, null))).toBeNull();
  });

  it('is no doubt where the scale was marked by hand, or where something else went wrong', () => {
    const advice = (code: string) => [{ code, message: '' }];
    const scale = { kind: 'card', confidence: 0.7 } as Measurement['scale'];
    const of = (part: Partial<Measurement>) => referenceDoubt(part as Measurement);
    expect(of({ scale, advice: advice('reference-unsure') })).toBe('unsure');
    expect(of({ scale, advice: advice('low-relief') })).toBeNull();
    expect(of({ scale: { ...scale!, kind: 'manual' }, advice: advice('reference-unsure') })).toBeNull();
    expect(of({ scale: null, advice: advice('which-paper') })).toBe('missing');
    expect(of({ scale: null, advice: advice('no-fabric') })).toBeNull();
  });
});
