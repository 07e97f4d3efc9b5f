/** After so many photos the earlier ones count half. */
const PHOTOS_REMEMBERED = 32;

/**
 * How many photos a second a number of processes can measure, told by what the last ones took, with everything that
 * was done for them besides.
 *
 * @example
 * const pace = new Pace(2);
 * pace.add(1.3, true); // measured in 1.3 s
 * pace.add(0.2, false); // a card was hidden
 * pace.perSecond; // 1.33
 */
export class Pace {
  readonly #processes: number;
  #busySeconds = 0;
  #photos = 0;

  constructor(processes: number) {
    this.#processes = processes;
  }

  /** @param seconds that a process was busy */
  add(seconds: number, isMeasurement: boolean): void {
    this.#busySeconds += seconds;
    if (isMeasurement) this.#photos++;
    if (this.#photos <= PHOTOS_REMEMBERED) return;
    this.#busySeconds /= 2;
    this.#photos /= 2;
  }

  /** 0 before anything was measured. */
  get perSecond(): number {
    return this.#photos === 0 ? 0 : (this.#processes * this.#photos) / this.#busySeconds;
  }
}
