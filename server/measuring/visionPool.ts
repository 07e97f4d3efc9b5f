import { fileURLToPath, pathToFileURL } from 'node:url';
import { MessageChannel, receiveMessageOnPort } from 'node:worker_threads';
import { Piscina } from 'piscina';
import type { Measurement, MeasureOptions, Stage } from '../../vision/measurement.ts';
import { VisionError } from '../../vision/errors.ts';
import { Slots, type LeaveSlot } from './slots.ts';
import type { NormalisedPhoto, VisionOutcome, VisionTask } from './visionTask.ts';

/** Why a task gave no answer, when it is not the photo's fault. */
export class VisionFault extends Error {
  readonly reason: 'took-too-long' | 'cancelled' | 'thread-died' | 'failed';

  constructor(reason: VisionFault['reason'], options?: { cause?: unknown }) {
    super(`measuring: ${reason}`, options);
    this.name = 'VisionFault';
    this.reason = reason;
  }
}

export interface VisionPool {
  /**
   * Waits for a thread to be free for a photo. Get the photo ready before, so that no thread is idle meanwhile.
   *
   * @throws VisionFault `cancelled`
   */
  enter(signal?: AbortSignal): Promise<LeaveSlot>;
  /**
   * @param hooks.slot a place from `enter`; left when the photo is measured, before this returns
   * @throws VisionError (the photo's fault) or VisionFault
   */
  measure(
    bytes: Uint8Array,
    options: MeasureOptions,
    hooks?: { onStage?: (stage: Stage) => void; signal?: AbortSignal; slot?: LeaveSlot },
  ): Promise<Measurement>;
  normalise(bytes: Uint8Array, maxPixels: number): Promise<NormalisedPhoto>;
  drawOverlay(bytes: Uint8Array, measurement: Measurement): Promise<Uint8Array>;
  /** The same photo with the reference's face made unreadable. */
  hideReference(bytes: Uint8Array, measurement: Measurement): Promise<Uint8Array>;
  /** Loads, in every thread, what its first photo would have to wait for. */
  warmUp(): Promise<void>;
  readonly threads: number;
  close(): Promise<void>;
}

/**
 * Starts the threads that measure. A task that takes longer than `timeoutSeconds`, or whose thread dies
 * (WebAssembly abort, out of memory), costs that task only: the thread is replaced.
 *
 * @param taskFile for tests: another module with a default export taking a `VisionTask`
 */
export function openVisionPool(options: {
  threads: number;
  timeoutSeconds: number;
  /** Default 1024. */
  heapMegabytes?: number;
  taskFile?: string;
}): VisionPool {
  const taskFile = options.taskFile ?? fileURLToPath(new URL('./visionTask.ts', import.meta.url));
  const threads = Math.max(1, options.threads);
  const pool = new Piscina({
    filename: fileURLToPath(new URL('./visionThread.mjs', import.meta.url)),
    workerData: { taskFile: pathToFileURL(taskFile).href },
    // A thread needs seconds before its first photo; none is let go.
    minThreads: threads,
    maxThreads: threads,
    execArgv: [],
    resourceLimits: { maxOldGenerationSizeMb: options.heapMegabytes ?? 1024 },
  });
  // A dying thread is told to its task as well; without a listener it would take the process down.
  pool.on('error', () => {});

  const slots = new Slots(threads);

  /** Runs a task in a thread that is free: its time starts now. */
  const runNow = async <T>(task: VisionTask, transferList: unknown[], signal?: AbortSignal): Promise<T> => {
    const timeout = AbortSignal.timeout(options.timeoutSeconds * 1000);
    const stop = signal ? AbortSignal.any([signal, timeout]) : timeout;
    let outcome: VisionOutcome;
    try {
      outcome = (await pool.run(task, {
        signal: stop,
        transferList: transferList as never,
      })) as VisionOutcome;
    } catch (error) {
      if (signal?.aborted) throw new VisionFault('cancelled', { cause: error });
      if (timeout.aborted) throw new VisionFault('took-too-long', { cause: error });
      const { message, code } = error as { message?: string; code?: string };
      const died = code === 'ERR_WORKER_OUT_OF_MEMORY' || /exited|terminat/i.test(message ?? '');
      throw new VisionFault(died ? 'thread-died' : 'failed', { cause: error });
    }
    if (outcome.ok) return outcome.value as T;
    const { code, message, hint, reason } = outcome.fault;
    throw new VisionError(code, message, hint, reason && { reason });
  };

  /** What somebody looks at is drawn before the next photo is measured. */
  const run = async <T>(task: VisionTask): Promise<T> => {
    const leave = await slots.enter({ isUrgent: true });
    try {
      return await runNow<T>(task, []);
    } finally {
      leave();
    }
  };

  const enter = async (signal?: AbortSignal): Promise<LeaveSlot> => {
    try {
      return await slots.enter(signal ? { signal } : {});
    } catch (error) {
      throw new VisionFault('cancelled', { cause: error });
    }
  };

  return {
    threads,
    enter,
    async measure(bytes, measureOptions, hooks = {}) {
      const leave = hooks.slot ?? (await enter(hooks.signal));
      const { port1, port2 } = new MessageChannel();
      port1.on('message', (stage: Stage) => hooks.onStage?.(stage));
      try {
        return await runNow<Measurement>(
          { kind: 'measure', bytes, options: measureOptions, port: port2 },
          [port2],
          hooks.signal,
        );
      } finally {
        // The answer may overtake the last stages on their way.
        for (let left = receiveMessageOnPort(port1); left; left = receiveMessageOnPort(port1)) {
          hooks.onStage?.(left.message as Stage);
        }
        port1.close();
        leave();
      }
    },
    normalise: (bytes, maxPixels) => run({ kind: 'normalise', bytes, maxPixels }),
    drawOverlay: (bytes, measurement) => run({ kind: 'overlay', bytes, measurement }),
    hideReference: (bytes, measurement) => run({ kind: 'hide-reference', bytes, measurement }),
    async warmUp() {
      await Promise.all(Array.from({ length: threads }, () => run<null>({ kind: 'warm-up' })));
    },
    close: () => pool.close({ force: true }).catch(() => pool.destroy()),
  };
}
