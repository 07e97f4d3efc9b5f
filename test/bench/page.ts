/**
 * `npm run bench -- page [--times N]`: how soon there is something to see on a first visit, beside a page of one
 * sentence from the same server in the same browser, by turns; what a first view weighs; how far things jump; how soon
 * a chosen photo of 12 megapixels has its numbers, beside what measuring alone took of that.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import type { BrowserContextOptions, Page } from 'playwright-core';
import { median } from 'simple-statistics';
import { firstContentfulPaintMs, firstViewBytes, layoutShift, openPage, SCREENS } from '../web/support.ts';
import { phonePhoto } from './parts/phonePhoto.ts';

const BARE = '<!doctype html><html lang="en"><title>Bare</title><p>One sentence.</p></html>\n';

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({ args, options: { times: { type: 'string', default: '9' } } });
  const times = Number(values.times);
  const line = (what: string, value: string, bar = ''): void =>
    console.log(`${what.padEnd(52)} ${value.padStart(10)}   ${bar}`);
  const running = await openPage();
  try {
    await writeFile(join(running.pageFolder, 'bare.html'), BARE);
    for (const screen of Object.keys(SCREENS) as (keyof typeof SCREENS)[]) {
      const first = async (address: string): Promise<number> => {
        // A new context has nothing kept from before, like a maker who comes for the first time.
        const options: BrowserContextOptions = { locale: 'en-US', ...SCREENS[screen] };
        const context = await running.browser.newContext(options);
        const page = await context.newPage();
        await page.goto(address);
        const paintMs = await firstContentfulPaintMs(page);
        await context.close();
        return paintMs;
      };
      const bareMs: number[] = [];
      const pageMs: number[] = [];
      // The first round starts the browser's own processes and is not counted.
      for (let round = 0; round <= times; round++) {
        const [bare, whole] = [await first(`${running.url}bare.html`), await first(running.url)];
        if (round === 0) continue;
        bareMs.push(bare);
        pageMs.push(whole);
      }
      console.log(`\nFirst visits on a ${screen}, ${times} of each, median (least to most):`);
      const spread = (all: number[]): string =>
        `(${Math.min(...all).toFixed(0)} to ${Math.max(...all).toFixed(0)})`;
      line('  a bare page, first contentful paint', `${median(bareMs).toFixed(0)} ms`, spread(bareMs));
      line('  the page, first contentful paint', `${median(pageMs).toFixed(0)} ms`, spread(pageMs));
      const ratios = pageMs.map((ms, i) => ms / bareMs[i]!);
      line('    as a multiple of the bare page', `${median(ratios).toFixed(1)} ×`, 'aim: the page ≤ 1000 ms');

      const { page, leave } = await running.visit(screen);
      await page.getByTestId('chain').waitFor();
      const bytes = await firstViewBytes(page, running.pageFolder);
      line('  first view, gzipped, without the photo', `${(bytes / 1000).toFixed(0)} kB`, 'aim ≤ 250 kB');
      line('  layout shift until the numbers are there', (await layoutShift(page)).toFixed(3), 'aim: none');

      const chosen = await timePhotos(page, running.url, Math.min(times, 5));
      const shares = chosen.map(({ wholeMs, measuringMs }) => wholeMs / measuringMs);
      line(
        '  from choosing a 12-MP photo to its numbers',
        `${(median(chosen.map(({ wholeMs }) => wholeMs)) / 1000).toFixed(2)} s`,
        'aim ≤ 2 s',
      );
      line('    as a multiple of measuring alone', `${median(shares).toFixed(2)} ×`);
      await leave();
    }
  } finally {
    await running.close();
  }
}

/** What a maker waits for a photo of her own, and what of it the measuring took by its own account. */
async function timePhotos(
  page: Page,
  url: string,
  times: number,
): Promise<{ wholeMs: number; measuringMs: number }[]> {
  const photo = await phonePhoto(12);
  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-bench-'));
  const path = join(folder, 'swatch.jpg');
  const timed: { wholeMs: number; measuringMs: number }[] = [];
  // The first warms the measuring process up and is not counted.
  for (let round = 0; round <= times; round++) {
    const kept = page.waitForResponse(
      (response) =>
        response.request().method() === 'POST' && new URL(response.url()).pathname.endsWith('/photos'),
    );
    // Each is another file, so that none is known already; on the disk, where a maker's photo lies: given as bytes it
    // would be carried into the browser by the test's own connection first, which takes 0.3 s.
    await writeFile(path, Buffer.concat([photo, Buffer.from([round])]));
    // By the page's own clock: the test would ask whether the numbers are there only twice a second in the end.
    const shown = page.evaluate(
      () =>
        new Promise<number>((resolve) => {
          let chosenMs = 0;
          let wasAway = false;
          addEventListener('change', ({ timeStamp }) => (chosenMs = timeStamp), {
            capture: true,
            once: true,
          });
          new MutationObserver((_changes, observer) => {
            const isThere = ['status', 'stitches-first', 'rows-first'].every((one) =>
              document.querySelector(`[data-testid=${one}]`),
            );
            wasAway ||= chosenMs > 0 && !isThere;
            if (!wasAway || !isThere) return;
            observer.disconnect();
            // The second frame from here begins when the first, with the numbers in it, was painted.
            requestAnimationFrame(() => requestAnimationFrame(() => resolve(performance.now() - chosenMs)));
          }).observe(document.body, { childList: true, subtree: true });
        }),
    );
    await page.getByLabel('Choose a photo').setInputFiles(path);
    const wholeMs = await shown;
    const { measurement } = (await (await kept).json()) as { measurement: { id: string } };
    const answer = (await (await fetch(`${url}api/v1/measurements/${measurement.id}`)).json()) as {
      measurement: { timingsMs: { total: number } };
    };
    if (round > 0) timed.push({ wholeMs, measuringMs: answer.measurement.timingsMs.total });
  }
  await rm(folder, { recursive: true });
  return timed;
}
