import { readFile } from 'node:fs/promises';
import type { InferenceSession } from 'onnxruntime-web';

export type Runtime = typeof import('onnxruntime-web');

/** A trained network that is ready to run, and the runtime that makes its tensors. */
export interface Network {
  runtime: Runtime;
  session: InferenceSession;
}

/**
 * Native code runs a network four times as fast as WebAssembly, to the same numbers. It is an optional package, because
 * there is none for some systems (Linux with musl, FreeBSD): WebAssembly runs there, and where the package was left out.
 */
const NATIVE = 'onnxruntime-node';

let loaded: Promise<{ runtime: Runtime; provider: 'cpu' | 'wasm' }> | null = null;

function loadRuntime(): NonNullable<typeof loaded> {
  loaded ??= (async () => {
    try {
      return { runtime: (await import(NATIVE)) as Runtime, provider: 'cpu' as const };
    } catch {
      return { runtime: await import('onnxruntime-web'), provider: 'wasm' as const };
    }
  })();
  return loaded;
}

/**
 * Opens a network that was trained elsewhere (ONNX).
 *
 * @param model where its file is
 * @example
 * const { session } = await openNetwork(new URL('./model/reader.onnx', import.meta.url));
 */
export async function openNetwork(model: URL): Promise<Network> {
  const { runtime, provider } = await loadRuntime();
  runtime.env.logLevel = 'error';
  // One thread: measuring runs in as many processes as there are cores.
  if (provider === 'wasm') runtime.env.wasm.numThreads = 1;
  const session = await runtime.InferenceSession.create(await readFile(model), {
    executionProviders: [provider],
    graphOptimizationLevel: 'all',
    intraOpNumThreads: 1,
    interOpNumThreads: 1,
  });
  return { runtime, session };
}
