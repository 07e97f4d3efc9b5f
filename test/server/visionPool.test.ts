import { fileURLToPath } from 'node:url';
import { afterEach, describe, expect, it } from 'vitest';
import { openVisionPool, type VisionPool } from '../../server/measuring/visionPool.ts';
import type { Measurement } from '../../vision/measurement.ts';
import type { Told } from './tellingTask.ts';

const taskFile = fileURLToPath(new URL('./tellingTask.ts', import.meta.url));
let pool: VisionPool;
const open = (options: Partial<Parameters<typeof openVisionPool>[0]> = {}): void => {
  pool = openVisionPool({ processes: 1, timeoutSeconds: 60, taskFile, ...options });
};
const ask = async (): Promise<Told> =>
  JSON.parse(Buffer.from((await pool.normalise(new Uint8Array(), 1)).bytes).toString()) as Told;
const isRunning = (pid: number): boolean => {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
};
afterEach(async () => {
  await pool.close();
  delete process.env.SWATCH_GAUGE_SECRET;
});

describe('the measuring processes', () => {
  it('are told no secret: strangers’ photos are opened in them', async () => {
    process.env.SWATCH_GAUGE_SECRET = 'the sheep sleep in the long grass tonight';
    open();
    const { environment } = await ask();
    expect(environment.PATH).toBe(process.env.PATH);
    expect(Object.values(environment).join()).not.toContain('the sheep sleep');
  });

  it('stay, so that the next photo finds everything loaded', async () => {
    open();
    const { pid } = await ask();
    expect((await ask()).pid).toBe(pid);
    await expect(pool.measure({ bytes: new Uint8Array() }, {})).rejects.toMatchObject({ reason: 'failed' });
    expect((await ask()).pid).toBe(pid); // an error is no reason to begin anew
  });

  it('give way to new ones when they hold too much memory', async () => {
    open({ mostKeptMegabytes: 1 }); // no process takes less
    const first = await ask();
    const second = await ask();
    expect(second.pid).not.toBe(first.pid);
    await expect.poll(() => isRunning(first.pid)).toBe(false);
  });

  it('are replaced as soon as they hear nothing any more, however long they take to end', async () => {
    open();
    const { pid } = await ask();
    const drawn = pool.drawOverlay({ bytes: new Uint8Array() }, {} as Measurement);
    await expect(drawn).rejects.toMatchObject({ reason: 'process-died' });
    expect((await ask()).pid).not.toBe(pid);
    await expect.poll(() => isRunning(pid)).toBe(false);
  });

  it('say what they take', async () => {
    open({ processes: 2 });
    expect(pool.usage()).toEqual({ residentBytes: 0, cpuSeconds: 0 });
    await pool.warmUp();
    const { residentBytes, cpuSeconds } = pool.usage();
    expect(residentBytes).toBeGreaterThan(40e6);
    expect(cpuSeconds).toBeGreaterThan(0);
  });

  it('count the time of those that were replaced', async () => {
    open({ mostKeptMegabytes: 1 });
    await ask();
    const before = pool.usage().cpuSeconds;
    await ask();
    expect(pool.usage().cpuSeconds).toBeGreaterThan(before);
  });

  it('take two threads for a photo that is alone, and one each where others are measured', async () => {
    const answering = fileURLToPath(new URL('./answeringTask.ts', import.meta.url));
    open({ processes: 2, threadsWhenAlone: 2, taskFile: answering });
    const threads = async (): Promise<number> =>
      ((await pool.measure({ bytes: new Uint8Array() }, {})) as unknown as { threads: number }).threads;
    expect(await threads()).toBe(2);
    const together = await Promise.all([threads(), threads(), threads(), threads()]);
    expect(together.slice(0, 3)).toEqual([1, 1, 1]); // the last may be alone by then
    // Whoever has a place is about to measure, or does.
    const leave = await pool.enter();
    expect(await threads()).toBe(1);
    leave();
    expect(await threads()).toBe(2);
  });

  it('take a photo that is alone to the one that may use a second core, and are serial else', async () => {
    open({ processes: 3, quickProcesses: 1 });
    const isSerial = ({ flags }: Told): boolean => flags.includes('--single-threaded');
    const alone = [await ask(), await ask()];
    expect(alone.map(isSerial)).toEqual([false, false]);
    const together = await Promise.all([ask(), ask(), ask()]);
    expect(together.map(isSerial).toSorted()).toEqual([false, true, true]);
    expect(isSerial(await ask())).toBe(false);
  });

  it('say so when the photo they should read is another one by now', async () => {
    open({ taskFile: fileURLToPath(new URL('../../server/measuring/visionTask.ts', import.meta.url)) });
    const source = { path: fileURLToPath(new URL('./no-such-photo.jpg', import.meta.url)) };
    await expect(pool.measure(source, {})).rejects.toMatchObject({ reason: 'photo-replaced' });
  });

  it('are gone when the pool is closed', async () => {
    open();
    const { pid } = await ask();
    await pool.close();
    expect(isRunning(pid)).toBe(false);
  });
});
