import { pino, type Logger } from 'pino';

/**
 * The process's log: one JSON object a line on standard error. Errors keep their type, code and stack, but of
 * what was asked only method and route pattern are logged: never a photo, a file's name, or a piece's.
 */
export function createLog(level: string): Logger {
  return pino(
    {
      level,
      base: { pid: process.pid },
      serializers: {
        err: (error: unknown) => {
          if (!(error instanceof Error)) return { type: typeof error };
          const { name, code, stack } = error as Error & { code?: unknown };
          // The message may quote what was sent; the frames cannot.
          const frames = stack?.split('\n').filter((line) => line.startsWith('    at ')) ?? [];
          const cause = error.cause instanceof Error ? error.cause.name : undefined;
          return {
            type: name,
            ...(code ? { code } : {}),
            ...(cause ? { cause } : {}),
            stack: frames.join('\n'),
          };
        },
      },
    },
    pino.destination(2),
  );
}
