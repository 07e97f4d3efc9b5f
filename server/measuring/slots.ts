/** Gives a place back; more than once is once. */
export type LeaveSlot = () => void;

/**
 * A number of places, one for each measuring process. Whoever wants one waits in line; those in a hurry wait in
 * front of the others.
 *
 * @example
 * const leave = await slots.enter({ isUrgent: true });
 * try { await work(); } finally { leave(); }
 */
export class Slots {
  readonly #count: number;
  #free: number;
  readonly #urgent: (() => void)[] = [];
  readonly #patient: (() => void)[] = [];

  constructor(count: number) {
    this.#count = count;
    this.#free = count;
  }

  /** Places that somebody has. */
  get taken(): number {
    return this.#count - this.#free;
  }

  /**
   * @param options.signal stops waiting
   * @throws the signal's reason
   */
  async enter(options: { isUrgent?: boolean; signal?: AbortSignal } = {}): Promise<LeaveSlot> {
    const { isUrgent = false, signal } = options;
    signal?.throwIfAborted();
    if (this.#free > 0) this.#free--;
    else await this.#wait(isUrgent ? this.#urgent : this.#patient, signal);
    let isLeft = false;
    return () => {
      if (isLeft) return;
      isLeft = true;
      const next = this.#urgent.shift() ?? this.#patient.shift();
      if (next) next();
      else this.#free++;
    };
  }

  #wait(line: (() => void)[], signal?: AbortSignal): Promise<void> {
    return new Promise((resolve, reject) => {
      const giveUp = (): void => {
        line.splice(line.indexOf(enter), 1);
        reject(signal!.reason as Error);
      };
      const enter = (): void => {
        signal?.removeEventListener('abort', giveUp);
        resolve();
      };
      signal?.addEventListener('abort', giveUp, { once: true });
      line.push(enter);
    });
  }
}
