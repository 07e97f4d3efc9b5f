/** Stands in for the measuring processes' work in the tests of the pool: tells what it knows and who it is. */
import type { VisionOutcome, VisionTask } from '../../server/measuring/visionTask.ts';

/** What `vision.normalise` answers with here, as JSON in its bytes. */
export interface Told {
  pid: number;
  environment: Record<string, string | undefined>;
  /** What Node was started with. */
  flags: string[];
}

export default async function tellingTask(task: VisionTask): Promise<VisionOutcome> {
  if (task.kind === 'normalise') {
    const told: Told = { pid: process.pid, environment: process.env, flags: process.execArgv };
    return { ok: true, value: { bytes: Buffer.from(JSON.stringify(told)), widthPx: 1, heightPx: 1 } };
  }
  if (task.kind === 'measure') throw new Error('not today');
  if (task.kind === 'overlay') {
    // As one that was killed and whose end takes its time: it hears nothing any more, and is still there.
    process.removeAllListeners('disconnect');
    setInterval(() => {}, 1000);
    process.disconnect!();
    await new Promise(() => {});
  }
  return { ok: true, value: null };
}
