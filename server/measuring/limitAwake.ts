/** Time is counted in steps; one that took longer than this, the machine or this process slept through. */
const LONGEST_STEP_MS = 2000;
const STEP_MS = 250;

/**
 * A time limit that counts only while the machine is awake: on some systems an ordinary timer that was set before it
 * slept goes off as soon as it wakes.
 *
 * @example
 * const limit = new AwakeLimit(30);
 * try { await work(limit.signal); } finally { limit.stop(); }
 */
export class AwakeLimit {
  readonly #limit = new AbortController();
  #leftMs = 0;
  #lastMs = 0;
  #counting: NodeJS.Timeout | undefined;

  constructor(seconds: number) {
    this.allow(seconds);
  }

  /** Aborts when the time is up. */
  get signal(): AbortSignal {
    return this.#limit.signal;
  }

  /** From now on so many seconds, whatever was left. */
  allow(seconds: number): void {
    this.stop();
    this.#leftMs = seconds * 1000;
    this.#lastMs = performance.now();
    this.#counting = setInterval(() => this.#count(), Math.min(STEP_MS, this.#leftMs / 4));
    this.#counting.unref();
  }

  stop(): void {
    clearInterval(this.#counting);
  }

  #count(): void {
    const nowMs = performance.now();
    this.#leftMs -= Math.min(LONGEST_STEP_MS, nowMs - this.#lastMs);
    this.#lastMs = nowMs;
    if (this.#leftMs > 0) return;
    this.stop();
    this.#limit.abort(new DOMException('The time is up.', 'TimeoutError'));
  }
}
