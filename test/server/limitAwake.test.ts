import { afterEach, describe, expect, it, vi } from 'vitest';
import { AwakeLimit } from '../../server/measuring/limitAwake.ts';

afterEach(() => void vi.useRealTimers());

describe('a time limit', () => {
  it('is up when its seconds have passed', () => {
    vi.useFakeTimers();
    const { signal } = new AwakeLimit(30);
    vi.advanceTimersByTime(29_500);
    expect(signal.aborted).toBe(false);
    vi.advanceTimersByTime(1000);
    expect(signal.aborted).toBe(true);
    expect((signal.reason as DOMException).name).toBe('TimeoutError');
  });

  it('does not count what the machine slept through', () => {
    vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval', 'performance'] });
    const { signal } = new AwakeLimit(30);
    vi.advanceTimersByTime(5000);
    const now = vi.spyOn(performance, 'now');
    const asleepUntil = performance.now() + 8 * 3_600_000;
    now.mockReturnValue(asleepUntil); // it wakes in the morning, and its timers with it
    vi.advanceTimersByTime(250);
    expect(signal.aborted).toBe(false);
    now.mockRestore();
  });

  it('begins anew when other seconds are allowed', () => {
    vi.useFakeTimers();
    const limit = new AwakeLimit(60);
    vi.advanceTimersByTime(59_000);
    limit.allow(10);
    vi.advanceTimersByTime(9000);
    expect(limit.signal.aborted).toBe(false);
    vi.advanceTimersByTime(2000);
    expect(limit.signal.aborted).toBe(true);
  });

  it('counts no more once the work is done', () => {
    vi.useFakeTimers();
    const limit = new AwakeLimit(30);
    limit.stop();
    vi.advanceTimersByTime(60_000);
    expect(limit.signal.aborted).toBe(false);
    expect(vi.getTimerCount()).toBe(0);
  });
});
