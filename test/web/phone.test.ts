/** A phone joins over the home network: only when sharing was switched on, with a code that works once. */
import { networkInterfaces } from 'node:os';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { accessibilityFaults, openPage, SCREENS, sidewaysScroll, type RunningPage } from './support.ts';

const networked = Object.values(networkInterfaces())
  .flatMap((one) => one ?? [])
  .some(({ family, internal }) => family === 'IPv4' && !internal);

describe.skipIf(!networked)('A phone of the home network', () => {
  let running: RunningPage;
  beforeAll(async () => {
    running = await openPage({ HOST: '0.0.0.0' }, { shared: true });
  });
  afterAll(() => running?.close());

  it('opens the same piece from the square code, once, and nobody gets in without it', async () => {
    const desktop = await running.visit('desktop');
    await desktop.page.getByTestId('chain').waitFor();
    await desktop.page.getByLabel('What is it?').fill('Harbour throw');
    await desktop.page.getByRole('button', { name: 'Keep as a piece' }).click();
    await desktop.page.getByRole('button', { name: 'Open it on my phone' }).click();
    const square = desktop.page.getByAltText('Square code that opens this piece');
    await square.waitFor();
    await expect
      .poll(() => square.evaluate((one: HTMLImageElement) => one.complete && one.naturalWidth > 0))
      .toBe(true);
    expect(await accessibilityFaults(desktop.page)).toEqual([]);
    const words = (await desktop.page.locator('.phone-link figcaption').textContent()) ?? '';
    const address = /http:\/\/\S+#\/pair\/\w+/.exec(words)![0].replace(/\.$/, '');
    expect(new URL(address).hostname).not.toMatch(/^(127\.|localhost)/);

    // A phone that only knows the address sees nothing.
    const phones = await running.browser.newContext({ locale: 'en-GB', ...SCREENS.phone });
    const phone = await phones.newPage();
    await phone.goto(new URL('/#/pieces', address).href);
    await phone.getByRole('alert').waitFor();
    expect(await phone.getByText('Harbour throw').count()).toBe(0);
    expect(await accessibilityFaults(phone)).toEqual([]);

    // With the code it opens the piece itself.
    await phone.goto(address);
    await phone.getByLabel('Name of the piece').waitFor();
    expect(await phone.getByLabel('Name of the piece').inputValue()).toBe('Harbour throw');
    await phone.locator('polygon.found-reference').waitFor();
    expect(await sidewaysScroll(phone)).toBe(0);
    // The computer shows codes; a phone does not hand out more.
    expect(await phone.getByRole('button', { name: 'Open it on my phone' }).count()).toBe(0);

    // The code is used up.
    const others = await running.browser.newContext({ locale: 'en-GB', ...SCREENS.phone });
    const other = await others.newPage();
    await other.goto(address);
    await other.getByRole('alert').waitFor();
    expect(await other.getByLabel('Name of the piece').count()).toBe(0);
    expect(await accessibilityFaults(other)).toEqual([]);
    await others.close();
    await phones.close();
    await desktop.leave();
  });
});

describe('Without sharing', () => {
  it('offers no code, and says how to switch sharing on', async () => {
    const running = await openPage();
    const { page, leave } = await running.visit('desktop');
    await page.getByTestId('chain').waitFor();
    await page.getByRole('button', { name: 'Keep as a piece' }).click();
    await page.getByText('npm run serve -- --share').waitFor();
    expect(await page.getByRole('button', { name: 'Open it on my phone' }).count()).toBe(0);
    await leave();
    await running.close();
  });
});
