import { readFile } from 'node:fs/promises';
import type { InferenceSession } from 'onnxruntime-web';

export type Runtime = typeof import('onnxruntime-web');

/** A trained network that is ready to run, and the runtime that makes its tensors. */
export interface Network {
  runtime: Runtime;
  session: Pick<InferenceSession, 'run'>;
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

let threads: 1 | 2 = 1;

/**
 * From now on networks run on so many threads: one where measuring runs in as many processes as there are cores, two
 * where only one photo is measured, which is then there sooner, at the price of some more work. For native code only.
 */
export function useThreads(count: 1 | 2): void {
  threads = count;
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
  if (provider === 'wasm') runtime.env.wasm.numThreads = 1;
  const bytes = await readFile(model);
  // How many threads a session has is said when it is made.
  const sessions = new Map<number, Promise<InferenceSession>>();
  const sessionNow = (): Promise<InferenceSession> => {
    const count = provider === 'cpu' ? threads : 1;
    let session = sessions.get(count);
    if (!session) {
      session = runtime.InferenceSession.create(bytes, {
        executionProviders: [provider],
        graphOptimizationLevel: 'all',
        intraOpNumThreads: count,
        interOpNumThreads: 1,
      });
      sessions.set(count, session);
    }
    return session;
  };
  await sessionNow();
  const run: InferenceSession['run'] = async (feeds: InferenceSession.FeedsType) =>
    await (await sessionNow()).run(feeds);
  return { runtime, session: { run } };
}

const openers: (() => Promise<Network>)[] = [];

/**
 * Opens a network when it is first asked for, and once.
 *
 * @param options `ahead`: whether most photos need it, so that it is among those that `openAhead` opens
 *
 * @example
 * const open = openOnce(new URL('./model/reader.onnx', import.meta.url));
 * const { session } = await open();
 */
export function openOnce(model: URL, { ahead = true }: { ahead?: boolean } = {}): () => Promise<Network> {
  let opened: Promise<Network> | null = null;
  const open = () => (opened ??= openNetwork(model));
  if (ahead) openers.push(open);
  return open;
}

/**
 * Begins to open every network that most photos need, while a photo is being decoded elsewhere: that takes a third of a
 * second in a fresh process. What cannot be opened is told to whoever asks for it.
 */
export function openAhead(): void {
  for (const open of openers) open().catch(() => undefined);
}
