import { fork, type ChildProcess } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { Stage } from '../../vision/measurement.ts';
import type { VisionOutcome, VisionTask } from './visionTask.ts';

const MAIN = fileURLToPath(new URL('./visionProcessMain.mjs', import.meta.url));

/** What a process said of itself with its last answer. */
export interface ProcessUsage {
  residentBytes: number;
  /** Processor time since it was started. */
  cpuSeconds: number;
}

type Message =
  | { kind: 'ready' }
  | { kind: 'begun' }
  | { kind: 'stage'; stage: Stage }
  | { kind: 'done'; outcome: VisionOutcome; usage: ProcessUsage }
  | { kind: 'failed'; message: string; usage: ProcessUsage };

/** The process ended without an answer. */
export class ProcessDied extends Error {
  /** Whether it had begun with the task, which may then be what it died of. */
  readonly hadBegun: boolean;

  constructor(hadBegun: boolean, options?: ErrorOptions) {
    super(hadBegun ? 'the measuring process died' : 'the measuring process died before it began', options);
    this.name = 'ProcessDied';
    this.hadBegun = hadBegun;
  }
}

/** A task goes to so many processes at most that die before they begin with it. */
const MOST_BEGINNINGS = 4;

/**
 * glibc raises the size from which memory is given back whenever a large block is freed, and keeps what is free apart
 * for every thread: pictures would stay resident long after they are done with. It reads this when a process starts.
 */
export const FRUGAL = { MALLOC_ARENA_MAX: '1', MALLOC_MMAP_THRESHOLD_: '1000000' };

/**
 * V8 collects garbage with as many threads as there are cores. They mostly wait for each other: without them a photo
 * takes as long, and 80 ms less of processor time, which other processes have a use for.
 */
export const LEAN = ['--single-threaded-gc'];

/**
 * How the server itself is started. Received photos are memory outside V8's heap, which has that marked through once a
 * second for them: at one go that takes half as long as in the many small steps of the usual way, and 40 ms keep no page
 * waiting.
 */
export const SERVER = [...LEAN, '--no-incremental-marking'];

/**
 * V8 compiles what has run for a while, in threads beside it, and lets the code go with the photo whose functions it
 * knew. Four times its usual patience leaves a third of that out: a photo is there as soon, for 30 ms less of processor
 * time.
 */
export const QUICK = [...LEAN, '--interrupt-budget=540672'];

/**
 * Does everything in one thread and compiles later still: where every core has a process of its own, threads beside it
 * only take turns with the other processes. As many photos in all, each of them on one core.
 */
export const SERIAL = ['--single-threaded', '--interrupt-budget=1081344', '--always-sparkplug'];

/** Strangers' photos are opened in there: it is told nothing that would be worth finding. */
const SECRETS = ['DATABASE_URL', 'PGPASSWORD', 'SWATCH_GAUGE_SECRET', 'SWATCH_GAUGE_S3_KEY'];

export interface VisionProcessOptions {
  /** Of JavaScript; a process that needs more ends. */
  heapMegabytes: number;
  /** A process that holds more than this after its task is replaced: WebAssembly never gives memory back. */
  mostKeptMegabytes: number;
  /** `QUICK` or `SERIAL`. */
  flags: readonly string[];
}

export interface RunHooks {
  onBegin?: (() => void) | undefined;
  onStage?: ((stage: Stage) => void) | undefined;
  signal: AbortSignal;
}

/** A process from its start to its end. */
interface Life {
  child: ChildProcess;
  /** It can be given a task. Rejects with ProcessDied. */
  ready: Promise<void>;
  /** It has ended, or never was. */
  ended: Promise<void>;
  hasWorked: boolean;
}

/** One process that does vision tasks, one at a time. Whatever ends it, there is a new one for the next task. */
export class VisionProcess {
  readonly #taskUrl: string;
  readonly #options: VisionProcessOptions;
  #life: Life | null = null;
  /** With those that were given up and have not quite ended. */
  readonly #living = new Set<Life>();
  #last: ProcessUsage = { residentBytes: 0, cpuSeconds: 0 };
  /** Of those that it replaced. */
  #earlierCpuSeconds = 0;
  #isClosed = false;

  /** @param taskUrl the module whose default export does a task */
  constructor(taskUrl: string, options: VisionProcessOptions) {
    this.#taskUrl = taskUrl;
    this.#options = options;
    this.#start();
  }

  /**
   * @param hooks.onBegin called when a process has begun with it
   * @param hooks.signal ends the process and with it the task
   * @throws ProcessDied when it ended, for whatever reason; an Error with the task's own message when that threw
   */
  async run(task: VisionTask, hooks: RunHooks): Promise<VisionOutcome> {
    for (let beginning = 1; ; beginning++) {
      hooks.signal.throwIfAborted();
      if (this.#isClosed) throw new ProcessDied(false);
      try {
        return await this.#runIn(this.#life ?? this.#start(), task, hooks);
      } catch (error) {
        // What died before it began did not die of this task, which a new one does instead.
        const isInnocent = error instanceof ProcessDied && !error.hadBegun && !hooks.signal.aborted;
        if (!isInnocent || beginning === MOST_BEGINNINGS) throw error;
      }
    }
  }

  async #runIn(life: Life, task: VisionTask, { onBegin, onStage, signal }: RunHooks): Promise<VisionOutcome> {
    const { child } = life;
    child.ref();
    child.channel?.ref();
    // At once, not when it is seen to have ended: the next task must not be given to one that is dying.
    const end = (): void => this.#replace(life);
    signal.addEventListener('abort', end);
    try {
      await life.ready;
      return await new Promise<VisionOutcome>((resolve, reject) => {
        let hasBegun = false;
        const finish = (settle: () => void): void => {
          child.off('message', onMessage).off('exit', onGone).off('disconnect', onGone);
          settle();
        };
        const onGone = (): void => finish(() => reject(new ProcessDied(hasBegun)));
        const onMessage = (message: Message): void => {
          hasBegun = true;
          life.hasWorked = true;
          if (message.kind === 'begun') onBegin?.();
          if (message.kind === 'stage') onStage?.(message.stage);
          if ('usage' in message && this.#life === life) this.#last = message.usage;
          if (message.kind === 'done') finish(() => resolve(message.outcome));
          if (message.kind === 'failed') finish(() => reject(new Error(message.message)));
        };
        if (!child.connected) {
          this.#replace(life);
          return reject(new ProcessDied(false));
        }
        child.on('message', onMessage).on('exit', onGone).on('disconnect', onGone);
        child.send(task, (error) => {
          if (!error) return;
          this.#replace(life);
          onGone();
        });
      });
    } finally {
      signal.removeEventListener('abort', end);
      child.unref();
      child.channel?.unref();
      const isLarge = this.#last.residentBytes > 1e6 * this.#options.mostKeptMegabytes;
      if (isLarge) this.#replace(life);
    }
  }

  /** As of its last answer; processor time with that of those it replaced. */
  get usage(): ProcessUsage {
    const { residentBytes, cpuSeconds } = this.#last;
    return { residentBytes, cpuSeconds: this.#earlierCpuSeconds + cpuSeconds };
  }

  /** Ends it and whatever it is doing. A task that is given to it later is refused with ProcessDied. */
  async close(): Promise<void> {
    this.#isClosed = true;
    for (const { child } of this.#living) {
      child.ref(); // or a process with nothing else to do would not wait for it
      child.kill('SIGKILL');
    }
    await Promise.all([...this.#living].map(({ ended }) => ended));
  }

  #start(): Life {
    const env: NodeJS.ProcessEnv = { ...process.env, ...FRUGAL };
    for (const name of SECRETS) delete env[name];
    const child = fork(MAIN, [this.#taskUrl], {
      execArgv: [`--max-old-space-size=${this.#options.heapMegabytes}`, ...this.#options.flags],
      env,
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
    const ended = new Promise<void>((resolve) => {
      child.once('exit', () => resolve());
      child.on('error', () => {
        if (child.pid === undefined) resolve(); // never was: it will not say that it ended
      });
    });
    const ready = new Promise<void>((resolve, reject) => {
      child.once('message', () => resolve());
      void ended.then(() => reject(new ProcessDied(false)));
    });
    ready.catch(() => {}); // told to whoever waits for it
    const life: Life = { child, ready, ended, hasWorked: false };
    this.#life = life;
    this.#living.add(life);
    // A killed one stops listening well before it has ended where much memory is to be taken from it or the machine is
    // busy.
    child.once('disconnect', () => this.#replace(life));
    void ended.then(() => {
      this.#living.delete(life);
      this.#replace(life);
    });
    child.unref();
    child.channel?.unref();
    return life;
  }

  #replace(life: Life): void {
    life.child.kill('SIGKILL');
    if (this.#life !== life) return;
    this.#life = null;
    this.#earlierCpuSeconds += this.#last.cpuSeconds;
    this.#last = { residentBytes: 0, cpuSeconds: 0 };
    // One that did nothing would be followed by others that do nothing; the next task tries again.
    if (life.hasWorked && !this.#isClosed) this.#start();
  }
}
