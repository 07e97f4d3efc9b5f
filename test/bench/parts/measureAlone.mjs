/**
 * Measures one photo in a process of its own, as the server's measuring processes do, each time it is told on how many
 * threads, and tells what that took: the memory of a worker can only be told where nothing else has run before.
 *
 * Sends `MeasuredAlone` of `test/bench/speed.ts`.
 */
import { loadProgram } from '../../../server/program.mjs';

const { default: doTask } = await loadProgram(
  new URL('../../../server/measuring/visionTask.ts', import.meta.url),
);
const photo = { path: process.argv[2] };
process.on('message', async (threads) => {
  const startedMs = performance.now();
  const { ok, value } = await doTask(
    { kind: 'measure', photo, options: { stitch: 'hdc' }, threads },
    () => {},
  );
  if (!ok) throw new Error('The photo could not be measured.');
  process.send({
    tookMs: performance.now() - startedMs,
    stages: value.timingsMs,
    status: value.status,
    peakBytes: process.resourceUsage().maxRSS * 1024,
  });
});
process.once('disconnect', () => process.exit());
