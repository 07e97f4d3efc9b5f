/** The built program, and when it is loaded instead of its sources. */
import { execFile } from 'node:child_process';
import { mkdir, rm, utimes, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { builtFor } from '../../server/program.mjs';
import { makeFolder } from './support.ts';

const run = promisify(execFile);
const ROOT = fileURLToPath(new URL('../../', import.meta.url));

describe('which of the two is loaded', () => {
  let root: string;
  const at = (seconds: number): Date => new Date(1_700_000_000_000 + 1000 * seconds);
  /** Writes a file as if so many seconds after the others' beginning. */
  const put = async (path: string, seconds: number): Promise<void> => {
    await writeFile(join(root, path), '');
    await utimes(join(root, path), at(seconds), at(seconds));
  };
  const ask = (): string | null => builtFor(root, join(root, 'server/measuring/visionTask.ts'));
  const BUILT = 'dist/program/server.measuring.visionTask.js';

  beforeEach(async () => {
    root = await makeFolder();
    for (const folder of ['calc', 'vision/lattice', 'server/measuring', 'dist/program']) {
      await mkdir(join(root, folder), { recursive: true });
    }
    for (const path of ['tsconfig.json', 'vision/lattice/a.ts', 'server/measuring/visionTask.ts', BUILT]) {
      await put(path, 0);
    }
    await put('dist/program/built', 10);
    for (const folder of ['calc', 'vision', 'vision/lattice', 'server', 'server/measuring']) {
      await utimes(join(root, folder), at(0), at(0));
    }
  });
  afterEach(() => rm(root, { recursive: true, force: true }));

  it('is the built one where nothing has changed since it was built', () => {
    expect(ask()).toBe(join(root, BUILT));
  });

  it('is the source where any source has changed since, or another version of a package was installed', async () => {
    await put('vision/lattice/a.ts', 11);
    expect(ask()).toBe(null);
    await put('vision/lattice/a.ts', 0);
    expect(ask()).toBe(join(root, BUILT));
    await put('package-lock.json', 11);
    expect(ask()).toBe(null);
  });

  it('is the source where a file went', async () => {
    await rm(join(root, 'vision/lattice/a.ts'));
    expect(ask()).toBe(null);
  });

  it('is the source where nothing was built', async () => {
    await rm(join(root, BUILT));
    expect(ask()).toBe(null);
  });

  it('is the built one in a package, whatever the time at which its files were laid out', async () => {
    await rm(join(root, 'tsconfig.json'));
    await put('vision/lattice/a.ts', 11);
    expect(ask()).toBe(join(root, BUILT));
  });
});

it('the built program answers as its sources do', async () => {
  await run(process.execPath, ['server/deploy/buildProgram.mjs'], { cwd: ROOT });
  const sample = 'fixtures/samples/hdc-swatch-card.jpg';
  const measure = async (...before: string[]): Promise<Record<string, unknown>> => {
    const { stdout } = await run(process.execPath, [...before, 'measure', sample, '--json'], {
      cwd: ROOT,
      maxBuffer: 1e8,
    });
    const { timingsMs: _, ...answer } = JSON.parse(stdout) as Record<string, unknown>;
    return answer;
  };
  const built = await measure('dist/program/server.cli.js');
  expect(built).toMatchObject({ status: 'ok' });
  expect(built).toEqual(await measure('--import', 'tsx', 'server/cli.ts'));
});
