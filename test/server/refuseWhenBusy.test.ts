/** When those who are turned away are asked to come back. */
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { refuseWhenBusy, tooBusy } from '../../server/jobs/refuseWhenBusy.ts';
import type { ProblemError } from '../../server/api/problem.ts';
import { Pace } from '../../server/measuring/pace.ts';
import type { Services } from '../../server/services.ts';

/** A server that can measure so many a second, and whose queue holds so many. */
const serverOf = (perSecond: number, look = { waiting: 20, finished: 0 }): Services =>
  ({
    config: { longestQueue: 20 },
    vision: { perSecond: () => perSecond },
    metrics: { queued: { set: () => {} } },
    database: {
      db: { selectNoFrom: () => ({ executeTakeFirstOrThrow: () => Promise.resolve({ ...look }) }) },
    },
  }) as unknown as Services;

const secondsOf = ({ retryAfterSeconds }: ProblemError): number => retryAfterSeconds!;
const burst = (services: Services, count: number): number[] =>
  Array.from({ length: count }, () => secondsOf(tooBusy(services, { waiting: 20, lastMinute: 0 })));

describe('those who come at once to a server that had a quiet minute', () => {
  it('are asked back one after the other at the pace of its processes', () => {
    const waits = burst(serverOf(1.5), 180);
    expect(waits[0]).toBeLessThanOrEqual(8); // half of 20 waiting photos, and one turn
    expect(waits.at(-1)).toBeGreaterThan(50);
    expect(waits.at(-1)).toBeLessThan(75); // 180 at three a second, after half of those who wait
    expect(waits).toEqual(waits.toSorted((a, b) => a - b));
  });

  it('are asked back slowly where nothing has been measured yet', () => {
    expect(burst(serverOf(0), 20).at(-1)).toBeGreaterThan(70);
  });
});

describe('whoever is turned away when many were asked to come back', () => {
  /** Looks at the queue with so many in it, `seconds` after the last time. */
  const comes = async (services: Services, seconds: number): Promise<void> => {
    vi.advanceTimersByTime(1000 * seconds);
    await new Promise<void>((resolve, reject) => {
      void refuseWhenBusy(services)({} as never, {} as never, (error?: unknown) =>
        error ? reject(error as Error) : resolve(),
      );
    });
  };
  beforeEach(() => void vi.useFakeTimers({ toFake: ['performance'] }));
  afterEach(() => void vi.useRealTimers());

  it('stands behind them, also where the queue is short for a moment', async () => {
    const services = serverOf(1.5, { waiting: 3, finished: 0 });
    const last = burst(services, 180).at(-1)!;
    await comes(services, 1);
    await comes(services, 2);
    expect(burst(services, 1)[0]).toBeGreaterThanOrEqual(last - 4);
  });

  it('comes before them where nobody has come for a while and the queue is short', async () => {
    const services = serverOf(1.5, { waiting: 3, finished: 0 });
    await comes(services, 1);
    const last = burst(services, 180).at(-1)!;
    await comes(services, 30);
    expect(burst(services, 1)[0]).toBeLessThan(last / 4);
  });

  it('comes before them where the queue stays short, since they did not come', async () => {
    const services = serverOf(1.5, { waiting: 3, finished: 0 });
    const last = burst(services, 180).at(-1)!;
    await comes(services, 1);
    await comes(services, 6);
    expect(burst(services, 1)[0]).toBeLessThan(last / 4);
  });
});

describe('the pace of processes', () => {
  it('counts what is done besides measuring', () => {
    const pace = new Pace(2);
    expect(pace.perSecond).toBe(0);
    pace.add(1.3, true);
    pace.add(0.2, false);
    expect(pace.perSecond).toBeCloseTo(2 / 1.5, 6);
  });

  it('follows when photos begin to take longer', () => {
    const pace = new Pace(1);
    for (let i = 0; i < 200; i++) pace.add(1, true);
    for (let i = 0; i < 200; i++) pace.add(4, true);
    expect(pace.perSecond).toBeCloseTo(0.25, 2);
  });
});
