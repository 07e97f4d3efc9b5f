/** Stands in for the measuring processes' work in the tests of the pool: tells what it knows and who it is. */
import type { VisionOutcome, VisionTask } from '../../server/measuring/visionTask.ts';

/** What `vision.normalise` answers with here, as JSON in its bytes. */
export interface Told {
  pid: number;
  environment: Record<string, string | undefined>;
}

export default async function tellingTask(task: VisionTask): Promise<VisionOutcome> {
  if (task.kind === 'normalise') {
    const told: Told = { pid: process.pid, environment: process.env };
    return { ok: true, value: { bytes: Buffer.from(JSON.stringify(told)), widthPx: 1, heightPx: 1 } };
  }
  if (task.kind === 'measure') throw new Error('not today');
  return { ok: true, value: null };
}
