import { createRequire } from 'node:module';
import { afterEach, expect, it, vi } from 'vitest';
import type { TextureMaps } from '../../vision/lattice/readTexture.ts';
import type { GrayImage } from '../../vision/types.ts';
import { normal, waveOf } from './waves.ts';

// Native code is an optional package: some systems have none.
const isInstalled = (() => {
  try {
    return Boolean(createRequire(import.meta.url).resolve('onnxruntime-node'));
  } catch {
    return false;
  }
})();

/** Something like cloth: stitches 13 px wide, rows 11 px high, and noise. */
function clothPatch(): GrayImage {
  const [widthPx, heightPx] = [160, 144];
  const across = waveOf(widthPx, heightPx, (x) => x / 13);
  const down = waveOf(widthPx, heightPx, (_, y) => y / 11);
  const next = normal(7);
  const data = across.map((v, i) => 0.5 + 0.12 * v * down[i]! + 0.08 * down[i]! + 0.02 * next());
  return { widthPx, heightPx, data };
}

async function readWith(runtime: 'native' | 'wasm'): Promise<TextureMaps> {
  vi.resetModules();
  if (runtime === 'wasm') {
    vi.doMock('onnxruntime-node', () => {
      throw new Error('not installed');
    });
  }
  const { readTexture } = await import('../../vision/lattice/readTexture.ts');
  return await readTexture(clothPatch(), 'hdc');
}

afterEach(() => vi.doUnmock('onnxruntime-node'));

it.skipIf(!isInstalled)('cloth is read alike by native code and by WebAssembly', async () => {
  const native = await readWith('native');
  const wasm = await readWith('wasm');
  const maps = Object.keys(native).filter((key) => key !== 'looksLike' && !key.endsWith('Px'));
  for (const name of [...maps, 'stitchPitchPx', 'rowPitchPx'] as (keyof TextureMaps)[]) {
    const [one, other] = [native[name] as Float32Array, wasm[name] as Float32Array];
    const apart = one.reduce((most, v, i) => Math.max(most, Math.abs(v - other[i]!)), 0);
    expect(apart, name).toBeLessThan(2e-3); // single precision, through some forty layers
    expect(one.some((v) => v !== 0)).toBe(true);
  }
  // They add in another order: were every bit the same, one of them would have read twice.
  expect(native.rowCos.some((v, i) => v !== wasm.rowCos[i])).toBe(true);
  expect(native.looksLike[0]!.stitch).toBe(wasm.looksLike[0]!.stitch);
  expect(native.looksLike[0]!.weight).toBeCloseTo(wasm.looksLike[0]!.weight, 4);
});

it('two threads read to the same bits as one', async () => {
  vi.resetModules();
  const { useThreads } = await import('../../vision/network.ts');
  const { readTexture } = await import('../../vision/lattice/readTexture.ts');
  const one = await readTexture(clothPatch(), 'hdc');
  useThreads(2);
  const two = await readTexture(clothPatch(), 'hdc');
  expect(two).toEqual(one);
});
