/**
 * `npm run bench -- page [--times N]`: how soon there is something to see on a first visit, beside a page of one
 * sentence from the same server in the same browser, by turns; what a first view weighs; how far things jump.
 */
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import type { BrowserContextOptions } from 'playwright-core';
import { firstContentfulPaintMs, firstViewBytes, layoutShift, openPage, SCREENS } from '../web/support.ts';
import { median } from './parts/phonePhoto.ts';

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
      await leave();
    }
  } finally {
    await running.close();
  }
}
