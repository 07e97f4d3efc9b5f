import { expect, it, vi } from 'vitest';
import type { InferenceSession } from 'onnxruntime-web';
import { readTexture } from '../../vision/lattice/readTexture.ts';

// Stands in for the optional package, which some systems have not.
const asked = vi.hoisted((): InferenceSession.SessionOptions[] => []);
vi.mock('onnxruntime-node', async () => {
  const web = await import('onnxruntime-web');
  return {
    ...web,
    InferenceSession: {
      create: (model: Uint8Array, options: InferenceSession.SessionOptions) => {
        asked.push(options);
        return web.InferenceSession.create(model, { ...options, executionProviders: ['wasm'] });
      },
    },
  };
});

it('cloth is read by native code where there is some, by one thread', async () => {
  const patch = { widthPx: 64, heightPx: 48, data: new Float32Array(64 * 48).fill(0.5) };
  const maps = await readTexture(patch);
  await readTexture(patch); // opens nothing again
  expect([maps.widthPx, maps.heightPx]).toEqual([32, 32]); // made up to multiples of 32
  expect(asked).toEqual([
    expect.objectContaining({ executionProviders: ['cpu'], intraOpNumThreads: 1, interOpNumThreads: 1 }),
  ]);
});
