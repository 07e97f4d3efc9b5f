import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { accessibilityFaults, openPage, sidewaysScroll, type RunningPage } from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  running = await openPage();
});
afterAll(() => running?.close());

describe('A piece from the first photo to the file it is kept in', () => {
  it('is kept, changed, reloaded, taken along, checked, deleted, and brought in again', async () => {
    const { page, errors, leave } = await running.visit('phone');

    // The list is empty at first, and says what to do.
    await page.getByRole('link', { name: 'Pieces' }).click();
    await page.getByText('Nothing kept yet.').waitFor();
    await page.getByRole('link', { name: 'Measure', exact: true }).click();

    await page.getByTestId('chain').waitFor();
    await page.getByLabel('What is it?').fill('Harbour throw');
    await page.getByRole('button', { name: 'Keep as a piece' }).click();
    await page.getByRole('heading', { name: 'Take it along' }).waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);

    // A change keeps itself, and is there after a reload.
    await page.getByLabel('Width', { exact: true }).fill('60 in');
    const chain = await page.getByTestId('chain').textContent();
    await page.getByText('Keeping…').waitFor();
    await page.getByText('All changes are kept.').waitFor();
    await page.reload();
    await expect.poll(() => page.getByTestId('chain').textContent()).toBe(chain);
    expect(await page.getByLabel('Name of the piece').inputValue()).toBe('Harbour throw');

    // The swatch comes back with what was found in its photo.
    await page.getByRole('link', { name: 'Swatch', exact: true }).click();
    await page.locator('polygon.found-reference').waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByRole('link', { name: 'Yarn', exact: true }).click();
    await page.getByRole('heading', { name: 'Chance of running out' }).waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByRole('link', { name: 'Plan', exact: true }).click();

    // As tables.
    const saved = async (name: string) => {
      const [download] = await Promise.all([
        page.waitForEvent('download'),
        page.getByRole('link', { name }).click(),
      ]);
      return await download.path();
    };
    expect((await readFile(await saved('Rows as a table'), 'utf8')).split('\n').length).toBeGreaterThan(20);
    expect(await readFile(await saved('Yarn as a table'), 'utf8')).toContain('Slate');
    const file = await saved('The whole piece as a file');

    // Half-way: a photo, the row, the yarn left; where it is heading and what to do.
    await page.getByRole('link', { name: 'Checks', exact: true }).click();
    await page
      .getByLabel('Choose a photo')
      .setInputFiles(join(import.meta.dirname, '../../fixtures/samples/hdc-swatch-card.jpg'));
    await page.getByTestId('status').waitFor();
    await page.getByLabel('Rows done').fill('30');
    await page.getByLabel('Slate left').fill('500');
    expect(await page.getByTestId('verdict').textContent()).toMatch(/rows to go/);
    // The same cloth as the swatch: nothing has drifted from it.
    await page.getByText('The tension is steady').waitFor();
    await page.getByText('Go on as it is').waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    await page.locator('.chart canvas').first().waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    // A photo of another part: the rows that were shown for the first stay with it.
    const shown = async (label: string) => await page.getByLabel(label).inputValue();
    const rows = `rows ${await shown('Lowest row in the photo')} to ${await shown('Topmost row in the photo')}`;
    expect(rows).toMatch(/^rows \d+ to 30$/);
    await page
      .getByLabel('Add a photo of another part')
      .setInputFiles(join(import.meta.dirname, '../../fixtures/samples/hdc-swatch-card.jpg'));
    await page.getByText(`Part 1: ${rows}`).waitFor();
    await page.getByRole('button', { name: 'Leave out part 1' }).click();
    await page.getByRole('button', { name: 'Keep this check' }).click();
    await page.getByText('Row 30.').waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);

    // A check deleted by mistake comes back.
    await page.getByRole('button', { name: /^Delete the check of/ }).click();
    await page.getByText('The check was deleted.').waitFor();
    expect(await page.getByText('Row 30.').count()).toBe(0);
    await page.getByRole('button', { name: 'Bring it back' }).click();
    await page.getByText('Row 30.').waitFor();

    // Deleted, brought back, deleted again; then in again from the file.
    await page.getByRole('button', { name: 'Delete this piece' }).click();
    await page.getByRole('button', { name: 'Bring back Harbour throw' }).click();
    await page.getByRole('link', { name: 'Harbour throw' }).waitFor();
    await page.getByRole('button', { name: 'Delete Harbour throw' }).click();
    await page.getByText('Nothing kept yet.').waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByLabel('Bring in a piece file').setInputFiles(file);
    await page.getByRole('heading', { name: 'Take it along' }).waitFor();
    expect(await page.getByTestId('chain').textContent()).toBe(chain);
    expect(await page.getByLabel('Name of the piece').inputValue()).toBe('Harbour throw');
    // Its photo came along, with what was found in it.
    await page.getByRole('link', { name: 'Swatch', exact: true }).click();
    await page.locator('polygon.found-reference').waitFor();
    const photo = page.locator('.photo-view-picture > image');
    const answered = await photo.evaluate(async (one) => (await fetch(one.getAttribute('href')!)).status);
    expect(answered).toBe(200);
    await page.getByRole('button', { name: 'Delete this piece' }).click();
    await page.getByText('Nothing kept yet.').waitFor();

    expect(errors).toEqual([]);
    await leave();
  });

  it('opens again while the program is stopped, and says so', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    await page.evaluate(() => navigator.serviceWorker.ready); // one visit is enough
    await page.context().setOffline(true);
    await page.reload();
    await page.getByText('The program is not answering.').first().waitFor();
    // As it looks otherwise: the styles and the letters are kept too.
    expect(await page.evaluate(() => document.fonts.check('16px "Alegreya Sans"'))).toBe(true);
    expect(
      await page.getByRole('link', { name: 'Pieces' }).evaluate((one) => getComputedStyle(one).fontFamily),
    ).toContain('Alegreya');
    // And it is right again as soon as the program is.
    await page.context().setOffline(false);
    await page.reload();
    await page.getByTestId('status').waitFor();
    await leave();
  });
});

describe('A first look around', () => {
  it('opens a sample piece, with sizes to compare and plans for the yarn at hand', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.getByRole('link', { name: 'Pieces' }).click();
    await page.getByRole('button', { name: 'Look around in it' }).click();
    await page.getByText('A sample to look around in.').waitFor();

    await page.locator('summary', { hasText: 'Several sizes at once' }).click();
    const table = page.getByRole('region', { name: 'Several sizes at once' });
    const chains = await table.locator('tbody tr td:nth-child(2)').allTextContents();
    expect(chains.map(Number)).toEqual([...chains.map(Number)].sort((a, b) => a - b)); // larger sizes, longer chains

    await page.locator('summary', { hasText: 'Make do with the yarn you have' }).click();
    await page.getByLabel('Skeins of Slate').fill('20');
    await page.getByLabel('Last row in').selectOption('c');
    await page.getByRole('button', { name: 'Plan with this' }).first().click();
    await page
      .getByText(/end with Rust|ending with Rust/)
      .first()
      .waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    expect(errors).toEqual([]);
    await page.getByRole('button', { name: 'Delete this piece' }).click();
    await page.getByRole('button', { name: /Bring back Harbour throw \(a sample\)/ }).waitFor();
    await leave();
  });
});

describe('The first start', () => {
  it('has a piece in the list already, measured and planned, that explains itself', async () => {
    const fresh = await openPage({}, { withSamplePiece: true });
    const { page, errors, leave } = await fresh.visit('phone');
    // The numbers of its swatch are those that the first screen shows.
    await page.getByTestId('status').waitFor();
    const stitches = await page.getByTestId('stitches-first').textContent();
    await page.getByRole('link', { name: 'Pieces' }).click();
    await page.getByRole('link', { name: 'Harbour throw (a sample)' }).click();
    await page.getByTestId('chain').waitFor();
    for (const [part, words] of [
      ['Swatch', 'the card gives the scale'],
      ['Yarn', 'Type what the swatch weighs'],
      ['Checks', 'Half-way through a piece you photograph it here'],
      ['Plan', 'Change the size, the stitch or the colours'],
    ] as const) {
      await page.getByRole('link', { name: part, exact: true }).click();
      await page.getByText(words).waitFor();
      if (part !== 'Swatch') continue;
      await page.locator('polygon.found-reference').waitFor();
      expect(await page.getByTestId('stitches-first').textContent()).toBe(stitches);
    }
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    expect(errors).toEqual([]);
    await leave();
    await fresh.close();
  });
});

describe('A photo that cannot be used', () => {
  it('is refused in plain words, and the next one is welcome', async () => {
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('status').waitFor();
    await page
      .getByLabel('Choose a photo')
      .setInputFiles({ name: 'notes.jpg', mimeType: 'image/jpeg', buffer: Buffer.from('not a picture') });
    await page.getByRole('alert').waitFor();
    await page.getByRole('button', { name: 'Beside a card' }).first().click();
    await page.getByTestId('status').waitFor();
    expect(await page.getByRole('alert').count()).toBe(0);
    await leave();
  });
});
