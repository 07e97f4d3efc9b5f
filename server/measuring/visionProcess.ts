import { fork, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
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
  | { kind: 'stage'; stage: Stage }
  | { kind: 'done'; outcome: VisionOutcome; usage: ProcessUsage }
  | { kind: 'failed'; message: string; usage: ProcessUsage };

/** The process ended without an answer. */
export class ProcessDied extends Error {}

/**
 * glibc raises the size from which memory is given back whenever a large block is freed, and keeps what is free apart
 * for every thread: pictures would stay resident long after they are done with. It reads this when a process starts.
 */
export const FRUGAL = { MALLOC_ARENA_MAX: '1', MALLOC_MMAP_THRESHOLD_: '1000000' };

/** Strangers' photos are opened in there: it is told nothing that would be worth finding. */
const SECRETS = ['DATABASE_URL', 'PGPASSWORD', 'SWATCH_GAUGE_SECRET', 'SWATCH_GAUGE_S3_KEY'];

export interface VisionProcessOptions {
  /** Of JavaScript; a process that needs more ends. */
  heapMegabytes: number;
  /** A process that holds more than this after its task is replaced: WebAssembly never gives memory back. */
  mostKeptMegabytes: number;
}

/** One process that does vision tasks, one at a time. Whatever ends it, there is a new one for the next task. */
export class VisionProcess {
  readonly #taskUrl: string;
  readonly #options: VisionProcessOptions;
  #child: ChildProcess | null = null;
  #ready: Promise<unknown> = Promise.resolve();
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
   * @param hooks.signal ends the process and with it the task
   * @throws ProcessDied when it ended, for whatever reason; an Error with the task's own message when that threw
   */
  async run(
    task: VisionTask,
    { onStage, signal }: { onStage?: ((stage: Stage) => void) | undefined; signal: AbortSignal },
  ): Promise<VisionOutcome> {
    signal.throwIfAborted();
    const child = this.#child ?? this.#start();
    child.ref();
    child.channel?.ref();
    const end = (): void => void child.kill('SIGKILL');
    signal.addEventListener('abort', end);
    try {
      await this.#ready;
      return await new Promise<VisionOutcome>((resolve, reject) => {
        const finish = (settle: () => void): void => {
          child.off('message', onMessage).off('exit', onGone).off('disconnect', onGone);
          settle();
        };
        const onGone = (): void => finish(() => reject(new ProcessDied()));
        const onMessage = (message: Message): void => {
          if (message.kind === 'stage') onStage?.(message.stage);
          if (message.kind === 'done' || message.kind === 'failed') this.#last = message.usage;
          if (message.kind === 'done') finish(() => resolve(message.outcome));
          if (message.kind === 'failed') finish(() => reject(new Error(message.message)));
        };
        if (!child.connected) return reject(new ProcessDied());
        child.on('message', onMessage).on('exit', onGone).on('disconnect', onGone);
        child.send(task, (error) => {
          if (!error) return;
          this.#replace(child);
          onGone();
        });
      });
    } finally {
      signal.removeEventListener('abort', end);
      child.unref();
      child.channel?.unref();
      if (this.#last.residentBytes > 1e6 * this.#options.mostKeptMegabytes) this.#replace(child);
    }
  }

  /** As of its last answer; processor time with that of those it replaced. */
  get usage(): ProcessUsage {
    const { residentBytes, cpuSeconds } = this.#last;
    return { residentBytes, cpuSeconds: this.#earlierCpuSeconds + cpuSeconds };
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    const child = this.#child;
    if (!child || hasEnded(child)) return;
    child.ref(); // or a process with nothing else to do would not wait for it
    child.kill('SIGKILL');
    await once(child, 'exit');
  }

  #start(): ChildProcess {
    const env: NodeJS.ProcessEnv = { ...process.env, ...FRUGAL };
    for (const name of SECRETS) delete env[name];
    const child = fork(MAIN, [this.#taskUrl], {
      execArgv: [`--max-old-space-size=${this.#options.heapMegabytes}`],
      env,
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
    this.#child = child;
    let wasReady = false;
    this.#ready = new Promise<void>((resolve, reject) => {
      child.once('message', () => {
        wasReady = true;
        resolve();
      });
      child.once('exit', () => reject(new ProcessDied()));
      child.on('error', (cause) => {
        reject(new ProcessDied('it could not be reached', { cause }));
        if (child.pid === undefined) this.#replace(child, { now: false }); // never was: it will not say that it ended
      });
    });
    this.#ready.catch(() => {}); // told to whoever waits for it
    // One that never came up would come up no better; the next task tries again. A killed one stops listening well
    // before it has ended where much memory is to be taken from it or the machine is busy.
    const onGone = (): void => this.#replace(child, { now: wasReady });
    child.once('disconnect', onGone).once('exit', onGone);
    child.unref();
    child.channel?.unref();
    return child;
  }

  #replace(child: ChildProcess, { now = true } = {}): void {
    if (this.#child !== child) return;
    child.kill('SIGKILL');
    this.#child = null;
    this.#earlierCpuSeconds += this.#last.cpuSeconds;
    this.#last = { residentBytes: 0, cpuSeconds: 0 };
    if (now && !this.#isClosed) this.#start();
  }
}

const hasEnded = ({ exitCode, signalCode }: ChildProcess): boolean =>
  exitCode !== null || signalCode !== null;
