/**
 * Measures one photo several times in a process of its own and prints what it took as JSON: the memory of a
 * worker can only be told where nothing else has run before.
 */
import { readFile } from 'node:fs/promises';
import sharp from 'sharp';
import type { Measurement } from '../../../vision/measurement.ts';

// As in the server's measuring processes
sharp.concurrency(1);
sharp.cache(false);

const [path, times] = process.argv.slice(2);
const bytes = await readFile(path!);
const { measurePhoto } = await import('../../../vision/measurePhoto.ts');
const tookMs: number[] = [];
const decodeMs: number[] = [];
const stages: Measurement['timingsMs'][] = [];
let status = '';
for (let i = 0; i < Number(times); i++) {
  // In turns with what it is compared with: other work on this machine comes and goes.
  const decodingMs = performance.now();
  await sharp(bytes).greyscale().raw().toBuffer();
  const startedMs = performance.now();
  decodeMs.push(startedMs - decodingMs);
  const measurement = await measurePhoto(bytes, { stitch: 'hdc' });
  tookMs.push(performance.now() - startedMs);
  stages.push(measurement.timingsMs);
  status = measurement.status;
}
console.log(
  JSON.stringify({ tookMs, decodeMs, stages, status, peakBytes: process.resourceUsage().maxRSS * 1024 }),
);
