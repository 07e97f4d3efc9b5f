/** Stands in for the measuring processes' work where they are killed: answers with what it was asked, after a while. */
import { setTimeout as sleep } from 'node:timers/promises';
import type { TellStage, VisionOutcome, VisionTask } from '../../server/measuring/visionTask.ts';

export default async function answeringTask(task: VisionTask, tellStage: TellStage): Promise<VisionOutcome> {
  if (task.kind === 'measure') {
    await sleep(50);
    return { ok: true, value: { threads: task.threads } };
  }
  if (task.kind !== 'normalise') return { ok: true, value: null };
  const value = { bytes: task.bytes, widthPx: process.pid, heightPx: 1 };
  const ms = task.maxPixels;
  // Half of it as a photo is worked on, hearing nothing.
  const until = performance.now() + ms / 2;
  while (performance.now() < until);
  tellStage('decode');
  await sleep(ms / 2);
  return { ok: true, value };
}
