/** Time is counted in steps; one that took longer than this, the machine or this process slept through. */
const LONGEST_STEP_MS = 2000;

/**
 * A time limit that counts only while the machine is awake: on some systems an ordinary timer that was set before it
 * slept goes off as soon as it wakes.
 *
 * @returns a signal that aborts when the time is up, and what ends the counting
 * @example
 * const limit = limitAwake(30);
 * try { await work(limit.signal); } finally { limit.stop(); }
 */
export function limitAwake(seconds: number): { signal: AbortSignal; stop: () => void } {
  const limit = new AbortController();
  let leftMs = seconds * 1000;
  let lastMs = performance.now();
  const counting = setInterval(
    () => {
      const nowMs = performance.now();
      leftMs -= Math.min(LONGEST_STEP_MS, nowMs - lastMs);
      lastMs = nowMs;
      if (leftMs > 0) return;
      clearInterval(counting);
      limit.abort(new DOMException('The time is up.', 'TimeoutError'));
    },
    Math.min(250, seconds * 250),
  );
  counting.unref();
  return { signal: limit.signal, stop: () => clearInterval(counting) };
}
