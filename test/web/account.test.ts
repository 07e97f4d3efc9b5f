/** The door of a server with accounts, in a real browser. */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { setOneTimePassword } from '../../server/accounts/oneTimePassword.ts';
import { freePort } from '../server/postgres.ts';
import { accessibilityFaults, openPage, sidewaysScroll, type RunningPage } from './support.ts';

let running: RunningPage;
beforeAll(async () => {
  const port = await freePort();
  running = await openPage({
    PORT: String(port),
    SWATCH_GAUGE_HOSTED: `http://localhost:${port}`,
    SWATCH_GAUGE_INVITATION: 'heather',
  });
});
afterAll(() => running?.close());

describe('On a server with accounts', () => {
  it('a maker comes in with a name and a password, keeps a piece, leaves, and finds it again', async () => {
    const { page, errors, leave } = await running.visit('phone');
    await page.getByRole('heading', { name: 'Sign in' }).waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);

    await page.getByRole('button', { name: 'I have no account yet' }).click();
    await page.getByLabel('Name').fill('Marit');
    await page.getByLabel('Password').fill('short');
    await page.getByLabel('Invitation of this server').fill('heather');
    await page.getByRole('button', { name: 'Make the account' }).click();
    await page.getByRole('alert').waitFor();
    await page.getByLabel('Password').fill('seven grey herons');
    await page.getByRole('button', { name: 'Make the account' }).click();

    await page.getByRole('link', { name: 'Pieces', exact: true }).click();
    await page.getByText('Nothing kept yet.').waitFor();
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByText('Your account: marit').click();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);
    await page.getByRole('button', { name: 'Sign out' }).click();
    await page.getByRole('heading', { name: 'Sign in' }).waitFor();

    await page.getByLabel('Name').fill('Marit');
    await page.getByLabel('Password').fill('six grey herons');
    await page.getByRole('button', { name: 'Sign in' }).click();
    await page.getByText('do not fit together').waitFor();
    await page.getByLabel('Password').fill('seven grey herons');
    await page.getByRole('button', { name: 'Sign in' }).click();
    await page.getByText('Nothing kept yet.').waitFor();
    // Only what the server refused on purpose was complained about.
    expect(errors.filter((error) => !/status of (403|422)/.test(error))).toEqual([]);
    await leave();
  });

  it('a maker who was given a password for one time is led to one of her own', async () => {
    const { page, errors, leave } = await running.visit('phone');
    await page.getByRole('button', { name: 'I have no account yet' }).click();
    await page.getByLabel('Name').fill('Tordis');
    await page.getByLabel('Password').fill('seven grey herons');
    await page.getByLabel('Invitation of this server').fill('heather');
    await page.getByRole('button', { name: 'Make the account' }).click();
    await page.getByTestId('chain').waitFor();
    const given = await setOneTimePassword(running.server.services.database.db, 'Tordis');

    await page.goto(`${running.url}#/pieces`);
    await page.reload();
    await page.getByLabel('Name').fill('Tordis');
    await page.getByLabel('Password').fill(given!.password);
    await page.getByRole('button', { name: 'Sign in' }).click();
    const notice = page.getByRole('region', { name: 'Choose a new password' });
    await notice.getByText('good for one time only').waitFor();
    expect(await sidewaysScroll(page)).toBe(0);
    expect(await accessibilityFaults(page)).toEqual([]);

    await notice.getByLabel('The one-time password').fill(given!.password);
    await notice.getByLabel('New password').fill('short');
    await notice.getByRole('button', { name: 'Change it' }).click();
    await notice.getByRole('alert').waitFor();
    await notice.getByLabel('New password').fill('nine brown geese');
    await notice.getByRole('button', { name: 'Change it' }).click();
    await notice.waitFor({ state: 'detached' });
    await page.reload();
    await page.getByText('Nothing kept yet.').waitFor();
    expect(await notice.count()).toBe(0);
    expect(errors.filter((error) => !/status of (401|403|422)/.test(error))).toEqual([]);
    await leave();
  });
});
