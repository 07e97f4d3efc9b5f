/**
 * Starts a process and keeps it until SIGINT or SIGTERM, then stops it gracefully; a second signal ends it at
 * once. What it cannot start for (settings, storage, port) is one sentence on standard error and exit code 2.
 *
 * @param start does the starting and returns what stops it
 */
export async function runUntilStopped(start: () => Promise<() => Promise<void>>): Promise<void> {
  let stop: () => Promise<void>;
  try {
    stop = await start();
  } catch (error) {
    process.stderr.write(`${sentenceFor(error)}\n`);
    process.exit(2);
  }
  let isStopping = false;
  const onSignal = (): void => {
    if (isStopping) process.exit(130);
    isStopping = true;
    stop().then(
      () => process.exit(0),
      () => process.exit(1),
    );
  };
  process.on('SIGINT', onSignal);
  process.on('SIGTERM', onSignal);
}

/** What a person at the terminal is told of why something could not start. */
export function sentenceFor(error: unknown): string {
  const { name, message, code, port, address } = error as NodeJS.ErrnoException & {
    port?: number;
    address?: string;
  };
  if (name === 'StorageError' || name === 'ConfigError') return message;
  if (code === 'EADDRINUSE') return `Port ${port} is taken by another program. Choose another with PORT.`;
  if (code === 'EACCES' && port) return `Port ${port} may not be used. Choose one above 1023 with PORT.`;
  if (code === 'EADDRNOTAVAIL') return `This computer has no address ${address}. Check HOST.`;
  if (code === 'ECONNREFUSED' || code === 'ENOTFOUND' || code === '28P01' || code === '3D000') {
    return `The database at DATABASE_URL cannot be used (${code}).`;
  }
  return `The program could not start: ${message}`;
}
