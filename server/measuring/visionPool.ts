import { availableParallelism } from 'node:os';
import { fileURLToPath, pathToFileURL } from 'node:url';
import type { Measurement, MeasureOptions, Stage } from '../../vision/measurement.ts';
import { VisionError } from '../../vision/errors.ts';
import type { PhotoSource } from '../storage/photoSource.ts';
import { AwakeLimit } from './limitAwake.ts';
import { Pace } from './pace.ts';
import { Slots, type LeaveSlot } from './slots.ts';
import { ProcessDied, QUICK, SERIAL, VisionProcess, type ProcessUsage } from './visionProcess.ts';
import type { NormalisedPhoto, VisionOutcome, VisionTask } from './visionTask.ts';

/** Why a task gave no answer, when it is not the photo's fault. */
export class VisionFault extends Error {
  readonly reason: 'took-too-long' | 'cancelled' | 'process-died' | 'photo-replaced' | 'failed';

  constructor(reason: VisionFault['reason'], options?: { cause?: unknown }) {
    super(`measuring: ${reason}`, options);
    this.name = 'VisionFault';
    this.reason = reason;
  }
}

export interface VisionPool {
  /**
   * Waits for a process to be free for a photo. Get the photo ready before, so that none is idle meanwhile.
   *
   * @throws VisionFault `cancelled`
   */
  enter(signal?: AbortSignal): Promise<LeaveSlot>;
  /**
   * @param hooks.slot a place from `enter`; left when the photo is measured, before this returns
   * @throws VisionError (the photo's fault) or VisionFault
   */
  measure(
    photo: PhotoSource,
    options: MeasureOptions,
    hooks?: { onStage?: (stage: Stage) => void; signal?: AbortSignal; slot?: LeaveSlot },
  ): Promise<Measurement>;
  normalise(bytes: Uint8Array, maxPixels: number): Promise<NormalisedPhoto>;
  drawOverlay(photo: PhotoSource, measurement: Measurement): Promise<Uint8Array>;
  /**
   * The same photo with the reference's face made unreadable.
   *
   * @param path a new file to write it to; null to have it in hand
   * @returns how many bytes were written, or the bytes
   */
  hideReference(
    photo: PhotoSource,
    measurement: Measurement,
    path: string | null,
  ): Promise<Uint8Array | number>;
  /** Loads, in every process, what its first photo would have to wait for. */
  warmUp(): Promise<void>;
  /** Of all its processes together. */
  usage(): ProcessUsage;
  /** Photos a second that its processes can measure, by the last ones; 0 before the first. */
  perSecond(): number;
  close(): Promise<void>;
}

/** A process that was ended is followed by one that has to start: that is not the photo's time. */
const BEGIN_SECONDS = 120;

/**
 * Starts the processes that measure. A task that takes longer than `timeoutSeconds`, or whose process dies
 * (WebAssembly abort, out of memory, a fault in an image library), costs that task only: the process is replaced.
 *
 * Processes, not threads: what kills one leaves the others alone, and how memory is handed out can be set for them
 * however the server was started.
 *
 * @param options.processes photos that are measured at once, one at least
 * @param options.taskFile for tests: another module with a default export taking a `VisionTask`
 */
export function openVisionPool(options: {
  processes: number;
  timeoutSeconds: number;
  /** Of JavaScript, in each process. Default 1024. */
  heapMegabytes?: number;
  /** Default 700; a process that holds more after its task is replaced. */
  mostKeptMegabytes?: number;
  /** Threads for a photo that is measured while no other is. Default 2 where there are two cores. */
  threadsWhenAlone?: 1 | 2;
  /**
   * So many of the processes use a second core for what goes on beside a photo. Default all where there are more cores
   * than processes; else one, for the photo that is alone, and none where there is but one core.
   */
  quickProcesses?: number;
  taskFile?: string;
}): VisionPool {
  const taskFile = options.taskFile ?? fileURLToPath(new URL('./visionTask.ts', import.meta.url));
  const count = Math.max(1, options.processes);
  const cores = availableParallelism();
  const quickCount = options.quickProcesses ?? (cores > count ? count : cores > 1 ? 1 : 0);
  // A process needs seconds before its first photo; none is let go.
  const all = Array.from(
    { length: count },
    (_, i) =>
      new VisionProcess(pathToFileURL(taskFile).href, {
        heapMegabytes: options.heapMegabytes ?? 1024,
        mostKeptMegabytes: options.mostKeptMegabytes ?? 700,
        flags: i < quickCount ? QUICK : SERIAL,
      }),
  );
  const quick = new Set(all.slice(0, quickCount));
  const idle = all.toReversed(); // the quick ones last, from where they are taken
  const threadsWhenAlone = options.threadsWhenAlone ?? (cores > 1 ? 2 : 1);
  const slots = new Slots(count);
  const pace = new Pace(count);

  /** Runs a task in a process that is free (there is one for every place): its time starts when that begins. */
  const runNow = async <T>(
    task: VisionTask,
    hooks: { onStage?: ((stage: Stage) => void) | undefined; signal?: AbortSignal | undefined } = {},
  ): Promise<T> => {
    const { signal } = hooks;
    const limit = new AwakeLimit(BEGIN_SECONDS);
    let hasBegun = false;
    const one = idle.pop()!;
    let outcome: VisionOutcome;
    const startedMs = performance.now();
    try {
      outcome = await one.run(task, {
        onBegin: () => {
          hasBegun = true;
          limit.allow(options.timeoutSeconds);
        },
        onStage: hooks.onStage,
        signal: signal ? AbortSignal.any([signal, limit.signal]) : limit.signal,
      });
      // To warm up takes far longer than a photo that somebody waits for.
      if (task.kind !== 'warm-up') pace.add((performance.now() - startedMs) / 1000, task.kind === 'measure');
    } catch (error) {
      if (signal?.aborted) throw new VisionFault('cancelled', { cause: error });
      if (hasBegun && limit.signal.aborted) throw new VisionFault('took-too-long', { cause: error });
      const isDead = error instanceof ProcessDied || limit.signal.aborted;
      throw new VisionFault(isDead ? 'process-died' : 'failed', { cause: error });
    } finally {
      limit.stop();
      if (quick.has(one)) idle.push(one);
      else idle.unshift(one);
    }
    if (outcome.ok) return outcome.value as T;
    if (outcome.fault === 'photo-replaced') throw new VisionFault('photo-replaced');
    const { code, message, hint, reason } = outcome.fault;
    throw new VisionError(code, message, hint, reason && { reason });
  };

  /** What somebody looks at is drawn before the next photo is measured. */
  const run = async <T>(task: VisionTask): Promise<T> => {
    const leave = await slots.enter({ isUrgent: true });
    try {
      return await runNow<T>(task);
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
    enter,
    async measure(photo, measureOptions, hooks = {}) {
      const leave = hooks.slot ?? (await enter(hooks.signal));
      try {
        // A maker alone at her computer waits for this one photo; where others wait, too, each process has its core. A
        // process may rest while the photo for it is being fetched: only its place tells.
        const threads = slots.taken === 1 ? threadsWhenAlone : 1;
        return await runNow<Measurement>({ kind: 'measure', photo, options: measureOptions, threads }, hooks);
      } finally {
        leave();
      }
    },
    normalise: (bytes, maxPixels) => run({ kind: 'normalise', bytes, maxPixels }),
    drawOverlay: (photo, measurement) => run({ kind: 'overlay', photo, measurement }),
    hideReference: (photo, measurement, path) => run({ kind: 'hide-reference', photo, measurement, path }),
    async warmUp() {
      await Promise.all(all.map(() => run<null>({ kind: 'warm-up' })));
    },
    usage: () => ({
      residentBytes: all.reduce((sum, { usage }) => sum + usage.residentBytes, 0),
      cpuSeconds: all.reduce((sum, { usage }) => sum + usage.cpuSeconds, 0),
    }),
    perSecond: () => pace.perSecond,
    async close() {
      await Promise.all(all.map((one) => one.close()));
    },
  };
}
