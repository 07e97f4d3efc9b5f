/** The plan on paper: the maker's own paper, no controls, black on white even when the screen is dark. */
import { readFile } from 'node:fs/promises';
import { PDFDocument } from 'pdf-lib';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { readPdf } from './read-pdf.ts';
import { openPageWithPiece, type RunningPage } from './support.ts';

let running: RunningPage;
let pieceId: string;
beforeAll(async () => {
  ({ running, pieceId } = await openPageWithPiece());
});
afterAll(() => running?.close());

/** Width × height of each page in whole millimetres, as a printer that minds the style sheet gets them. */
async function pagesOf(page: Page): Promise<string[]> {
  const pdf = await PDFDocument.load(await page.pdf({ preferCSSPageSize: true, printBackground: true }));
  const mm = (points: number): number => Math.round((points * 25.4) / 72);
  return pdf.getPages().map((one) => `${mm(one.getWidth())} × ${mm(one.getHeight())}`);
}

// ISO 216 A4; ANSI/ASME Y14.1 A, "Letter", 8.5 × 11 in
const A4 = '210 × 297';
const LETTER = '216 × 279';

describe('The plan on paper', () => {
  it.each([
    { locale: 'en-GB', screen: 'phone', paper: A4, other: 'Letter', otherPaper: LETTER },
    { locale: 'en-US', screen: 'desktop', paper: LETTER, other: 'A4', otherPaper: A4 },
  ] as const)(
    'takes the paper of $locale, or the one that is chosen',
    async ({ locale, screen, paper, other, otherPaper }) => {
      const { page, errors, leave } = await running.visit(screen, { locale });
      await page.goto(`${running.url}#/pieces/${pieceId}/plan`);
      await page.getByTestId('chain').waitFor();
      const pages = await pagesOf(page);
      expect(new Set(pages)).toEqual(new Set([paper]));
      expect(pages.length).toBeLessThanOrEqual(3);

      await page.getByRole('radio', { name: other }).check();
      expect(new Set(await pagesOf(page))).toEqual(new Set([otherPaper]));
      await page.reload(); // kept on this device
      await page.getByTestId('chain').waitFor();
      expect(new Set(await pagesOf(page))).toEqual(new Set([otherPaper]));
      expect(errors).toEqual([]);
      await leave();
    },
  );

  it('has the numbers, the picture, the yarn and the instructions, and nothing to press', async () => {
    const { page, leave } = await running.visit('desktop', { colorScheme: 'dark' });
    await page.goto(`${running.url}#/pieces/${pieceId}/plan`);
    await page.getByTestId('chain').waitFor();
    await page.emulateMedia({ media: 'print' });
    for (const heading of ['Plan', 'Yarn', 'How to make it'])
      expect(await page.getByRole('heading', { name: heading, exact: true }).isVisible(), heading).toBe(true);
    expect(await page.getByTestId('chain').isVisible()).toBe(true);
    expect(await page.locator('.bench-side + .sheet .piece-picture').isVisible()).toBe(true);
    for (const role of ['button', 'link', 'radio', 'combobox', 'navigation'] as const)
      expect(await page.getByRole(role).filter({ visible: true }).count(), role).toBe(0);
    const colours = await page
      .locator('.instructions li')
      .first()
      .evaluate((one) => ({
        ink: getComputedStyle(one).color,
        around: getComputedStyle(document.documentElement).backgroundColor,
        paper: getComputedStyle(one.closest('.sheet')!).backgroundColor,
      }));
    expect(colours).toEqual({
      ink: 'rgb(0, 0, 0)',
      around: 'rgb(255, 255, 255)',
      paper: 'rgb(255, 255, 255)',
    });
    await leave();
  });

  it('is what is printed, whichever part of the piece it is asked from', async () => {
    const { page, leave } = await running.visit('phone');
    await page.goto(`${running.url}#/pieces/${pieceId}/yarn`);
    await page.getByRole('heading', { name: 'Chance of running out' }).waitFor();
    // Headless browsers have no print dialog: note what is on the screen when it would open.
    await page.evaluate(() => {
      window.print = () => {
        document.title = document.querySelector('.instructions')
          ? 'printed the plan'
          : 'printed something else';
      };
    });
    await page.getByRole('button', { name: 'Print the plan' }).click();
    await expect.poll(() => page.title()).toBe('printed the plan');
    await leave();
  });
});

describe('The plan as a PDF file', () => {
  /** What comes when the button is pressed. */
  async function savePdf(page: Page) {
    const coming = page.waitForEvent('download');
    await page.getByRole('button', { name: 'The plan as a PDF file' }).click();
    const file = await coming;
    return { name: file.suggestedFilename(), ...(await readPdf(await readFile(await file.path()))) };
  }

  it('is really made, on the paper that is chosen, and fetched only when it is asked for', async () => {
    const { page, errors, leave } = await running.visit('phone', { locale: 'en-GB' });
    const asked: string[] = [];
    page.on('request', (request) => asked.push(request.url()));
    await page.goto(`${running.url}#/pieces/${pieceId}/plan`);
    const chain = (await page.getByTestId('chain').textContent())!;
    expect(asked.filter((url) => url.includes('plan-pdf'))).toEqual([]);
    const a4 = await savePdf(page);
    expect(a4.name).toBe('Harbour throw.pdf');
    expect(new Set(a4.pages.map((one) => one.size))).toEqual(new Set([A4]));
    expect(a4.pages[0]!.words).toContain(chain);
    expect(a4.pages.flatMap((one) => one.strays)).toEqual([]);
    await page.getByRole('radio', { name: 'Letter' }).check();
    expect((await savePdf(page)).pages[0]!.size).toBe(LETTER);
    expect(errors).toEqual([]);
    await leave();
  });

  it('takes a name in letters that the PDF does not have, and offline too', async () => {
    const { page, errors, leave } = await running.visit('desktop');
    await page.goto(`${running.url}#/pieces/${pieceId}/plan`);
    await page.getByTestId('chain').waitFor();
    await page.evaluate(() => navigator.serviceWorker.ready); // one visit is enough
    await page.context().setOffline(true);
    await page.getByLabel('Name of the piece').fill('編み物 für Zoë 🧶');
    const { name, title, pages } = await savePdf(page);
    expect(name).toBe('編み物 für Zoë 🧶.pdf');
    expect(title).toBe('編み物 für Zoë 🧶');
    expect(pages[0]!.words.slice(0, 3)).toEqual(['編み物', 'für Zoë', '🧶']);
    expect(pages[0]!.pictures).toBeGreaterThanOrEqual(2);
    // The new name could not be kept: that is all there was to complain about.
    expect(errors.filter((error) => !/ERR_INTERNET_DISCONNECTED/.test(error))).toEqual([]);
    await leave();
  });
});
