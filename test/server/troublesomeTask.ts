/**
 * Stands in for the measuring processes' work where the tests are about jobs, not about stitches: quick, slow, or in
 * trouble, as the stitch it is asked for says.
 */
import { setTimeout as sleep } from 'node:timers/promises';
import type { TellStage, VisionOutcome, VisionTask } from '../../server/measuring/visionTask.ts';
import { bytesOf } from '../../server/storage/photoSource.ts';
import { writeNewFile } from '../../server/writeFileAtomically.ts';
import type { Measurement } from '../../vision/measurement.ts';

export default async function troublesomeTask(
  task: VisionTask,
  tellStage: TellStage,
): Promise<VisionOutcome> {
  if (task.kind === 'hide-reference') {
    const bytes = (await bytesOf(task.photo))!;
    if (task.path !== null) await writeNewFile(task.path, bytes);
    return { ok: true, value: task.path === null ? bytes : bytes.length };
  }
  if (task.kind !== 'measure') return { ok: true, value: null };
  switch (task.options.stitch) {
    case 'garter': // WebAssembly aborts
      process.exit(70);
      break;
    case 'moss': // never comes back
      for (;;) await Promise.resolve();
    case 'seed': {
      // eats all the memory it may have
      const eaten: number[][] = [];
      for (;;) eaten.push(new Array<number>(1e6).fill(eaten.length));
    }
    case 'dc':
      await sleep(400);
      break;
  }
  tellStage('decode');
  tellStage('scale');
  await sleep(10);
  return { ok: true, value: EMPTY };
}

const EMPTY: Measurement = {
  status: 'refused',
  photo: { widthPx: 320, heightPx: 240 },
  scale: null,
  gauge: null,
  lattice: null,
  counted: { stitches: null, rows: null },
  looksLike: [],
  alternatives: [],
  localGauge: [],
  overlay: null,
  advice: [{ code: 'no-fabric', message: 'No swatch was found.' }],
  timingsMs: { total: 10 },
};
