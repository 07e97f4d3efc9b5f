import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import axe from 'axe-core';
import { chromium, type Browser, type BrowserContextOptions, type Page } from 'playwright-core';
import { pino } from 'pino';
import { build } from 'vite';
import { readConfig } from '../../server/config.ts';
import { startServer, type RunningServer } from '../../server/startServer.ts';

/** How long to wait for something to appear; longer on a machine that is busy with other things. */
const PATIENCE_MS = Number(process.env.SWATCH_GAUGE_PATIENCE_MS ?? 60_000);

/** The two screens every part of the page has to work on. */
export const SCREENS = {
  phone: { viewport: { width: 360, height: 780 }, hasTouch: true, isMobile: true },
  desktop: { viewport: { width: 1280, height: 900 } },
} satisfies Record<string, BrowserContextOptions>;

export interface RunningPage {
  url: string;
  browser: Browser;
  server: RunningServer;
  /** Where the page was built. */
  pageFolder: string;
  /** A fresh visitor: nothing kept in the browser from before. Its script errors end up in `errors`. */
  visit: (screen: keyof typeof SCREENS, options?: BrowserContextOptions) => Promise<Visit>;
  close: () => Promise<void>;
}

export interface Visit {
  page: Page;
  errors: string[];
  leave: () => Promise<void>;
}

/** The real page, built as it is shipped, from the real server on a free port, in a real browser. */
export async function openPage(
  environment: NodeJS.ProcessEnv = {},
  options: { shared?: boolean; withSamplePiece?: boolean } = {},
): Promise<RunningPage> {
  const folder = await mkdtemp(join(tmpdir(), 'swatch-gauge-page-'));
  const pageFolder = join(folder, 'page');
  // The test runner's own NODE_ENV would make a development build.
  process.env.NODE_ENV = 'production';
  await build({
    root: join(import.meta.dirname, '../../web'),
    logLevel: 'error',
    build: { outDir: pageFolder, emptyOutDir: true },
  });
  const config = readConfig({
    PORT: '0',
    SWATCH_GAUGE_DATA: join(folder, 'data'),
    SWATCH_GAUGE_THREADS: '1',
    SWATCH_GAUGE_MEASURE_SECONDS: String(Math.max(30, PATIENCE_MS / 1000)),
    ...environment,
  });
  const server = await startServer(config, { log: pino({ level: 'silent' }), pageFolder, ...options });
  const browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
  // A server with accounts is met by the name it goes by.
  const url = `http://${config.hostedAt ? 'localhost' : '127.0.0.1'}:${server.port}/`;
  return {
    url,
    browser,
    server,
    pageFolder,
    async visit(screen, options = {}) {
      const context = await browser.newContext({ locale: 'en-US', ...SCREENS[screen], ...options });
      const page = await context.newPage();
      page.setDefaultTimeout(PATIENCE_MS);
      const errors: string[] = [];
      page.on('pageerror', (error) => errors.push(error.message));
      page.on('console', (message) => message.type() === 'error' && errors.push(message.text()));
      await page.goto(url);
      return { page, errors, leave: () => context.close() };
    },
    async close() {
      await browser.close();
      await server.stop();
      await rm(folder, { recursive: true, force: true });
    },
  };
}

/** What axe finds against WCAG 2.2 A and AA, as readable lines; empty when clean. */
export async function accessibilityFaults(page: Page): Promise<string[]> {
  await page.evaluate(axe.source);
  const violations = await page.evaluate(async () => {
    const { axe: runner } = window as unknown as { axe: typeof import('axe-core') };
    const result = await runner.run(document, {
      runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
    });
    return result.violations.flatMap((one) =>
      one.nodes.map((node) => `${one.id}: ${node.target.join(' ')}: ${node.failureSummary ?? ''}`),
    );
  });
  return violations;
}

/** How many CSS pixels the page is wider than its window: anything above 0 must be scrolled sideways. */
export const sidewaysScroll = (page: Page): Promise<number> =>
  page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);

/** How far things jumped since the page was opened, without what the maker's own clicks and keys moved (CLS). */
export const layoutShift = async (page: Page): Promise<number> =>
  (await layoutShifts(page)).reduce((sum, one) => sum + one.value, 0);

/** The same one by one, each with what it moved: a test that fails says what to look at. */
export const layoutShifts = (page: Page): Promise<{ value: number; moved: string[] }[]> =>
  page.evaluate(
    () =>
      new Promise<{ value: number; moved: string[] }[]>((resolve) => {
        interface Shift {
          value: number;
          hadRecentInput: boolean;
          sources: { node: Node | null; previousRect: DOMRect; currentRect: DOMRect }[];
        }
        const shifts: { value: number; moved: string[] }[] = [];
        new PerformanceObserver((list) => {
          for (const { value, hadRecentInput, sources } of list.getEntries() as unknown as Shift[])
            if (!hadRecentInput)
              shifts.push({
                value,
                moved: sources.map(
                  ({ node, previousRect, currentRect }) =>
                    `${node?.nodeName ?? '?'} “${(node?.textContent ?? '').slice(0, 40)}” from ${previousRect.y} to ${currentRect.y}`,
                ),
              });
        }).observe({ type: 'layout-shift', buffered: true });
        setTimeout(() => resolve(shifts), 100);
      }),
  );

/** When the first text or picture was painted, in ms since the visit began; waits for the browser to tell. */
export const firstContentfulPaintMs = (page: Page): Promise<number> =>
  page.evaluate(
    () =>
      new Promise<number>((resolve) => {
        new PerformanceObserver((list) => {
          const [entry] = list.getEntriesByName('first-contentful-paint');
          if (entry) resolve(entry.startTime);
        }).observe({ type: 'paint', buffered: true });
      }),
  );

/** What the page has asked for so far, without what it asked of the API, in bytes as gzip would send them. */
export async function firstViewBytes(page: Page, pageFolder: string): Promise<number> {
  const asked = await page.evaluate(() =>
    performance.getEntriesByType('resource').map((entry) => new URL(entry.name).pathname),
  );
  const files = [...new Set(asked)].filter((path) => !path.startsWith('/api/'));
  if (!files.some((path) => path.endsWith('.js'))) throw new Error('the page asked for no script');
  let bytes = 0;
  for (const path of ['index.html', ...files]) {
    const content = await readFile(join(pageFolder, path));
    bytes += path.endsWith('.woff2') ? content.length : gzipSync(content).length; // fonts come compressed
  }
  return bytes;
}

/** The running page with one piece kept in it. */
export async function openPageWithPiece(): Promise<{ running: RunningPage; pieceId: string }> {
  const running = await openPage();
  const { page, leave } = await running.visit('desktop');
  const pieceId = await keepPiece(page, 'Harbour throw');
  await leave();
  return { running, pieceId };
}

/** Keeps the swatch on the start screen as a piece and answers with its id. */
export async function keepPiece(page: Page, name: string): Promise<string> {
  await page.getByTestId('chain').waitFor();
  await page.getByLabel('What is it?').fill(name);
  await page.getByRole('button', { name: 'Keep as a piece' }).click();
  await page.getByRole('heading', { name: 'Take it along' }).waitFor();
  return new URL(page.url()).hash.split('/')[2]!;
}
