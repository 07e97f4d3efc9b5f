/**
 * Measures one photo in a process of its own, each time it is told on how many threads, and tells what that took: the memory of a
 * worker can only be told where nothing else has run before.
 */
import { readFile } from 'node:fs/promises';
import sharp from 'sharp';
import type { Measurement } from '../../../vision/measurement.ts';

export interface MeasuredAlone {
  tookMs: number;
  stages: Measurement['timingsMs'];
  status: string;
  peakBytes: number;
}

// As in the server's measuring processes
sharp.cache(false);

const bytes = await readFile(process.argv[2]!);
const { useThreads } = await import('../../../vision/network.ts');
const { measurePhoto } = await import('../../../vision/measurePhoto.ts');
process.on('message', (threads: 1 | 2) => {
  useThreads(threads);
  sharp.concurrency(threads);
  const startedMs = performance.now();
  void measurePhoto(bytes, { stitch: 'hdc' }).then(({ timingsMs, status }) => {
    const told: MeasuredAlone = {
      tookMs: performance.now() - startedMs,
      stages: timingsMs,
      status,
      peakBytes: process.resourceUsage().maxRSS * 1024,
    };
    process.send!(told);
  });
});
process.once('disconnect', () => process.exit());
