/**
 * Lets one in at a time, in the order of asking.
 *
 * @example
 * const leave = await turnstile.enter();
 * try { await work(); } finally { leave(); }
 */
export class Turnstile {
  #last: Promise<void> = Promise.resolve();

  async enter(): Promise<() => void> {
    const before = this.#last;
    let leave!: () => void;
    this.#last = new Promise((resolve) => (leave = resolve));
    await before;
    return leave;
  }
}
