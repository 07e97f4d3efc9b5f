/**
 * The command line: `npm run --silent gauge -- <command> …`.
 *
 * Exit codes, stable: 0 the answer was given (ok or unsure), 3 the photo was refused (the JSON, with advice,
 * is still printed), 2 the input was bad (one message on stderr, never a stack), 1 a fault of the program.
 */
import { EXIT, InputError } from './commands/exit.ts';
import { print } from './commands/print.ts';

const USAGE = `swatch-gauge: read a swatch's gauge from a photo, and plan a piece from it.

  gauge measure PHOTO [--reference auto|card|ruler|tape|paper|sheet] [--stitch KEY]
                      [--yarn 0-7] [--paper a4|a5|letter] [--pixels] [--overlay OUT.png] [--json]
  gauge plan SPEC.json [--json]
  gauge check PHOTO... --project FILE.json [--reference …] [--paper …] [--json]

Exit code: 0 answered, 3 refused with advice, 2 bad input.`;

/** Each command sits in a file of its own, loaded when it is asked for: a plan needs no image library. */
const COMMANDS: Record<string, () => Promise<(args: string[]) => Promise<number>>> = {
  measure: async () => (await import('./commands/measure.ts')).measureCommand,
  plan: async () => (await import('./commands/plan.ts')).planCommand,
  check: async () => (await import('./commands/check.ts')).checkCommand,
};

async function main(args: string[]): Promise<number> {
  const [command, ...rest] = args;
  if (command === undefined || command === 'help' || command === '--help' || command === '-h') {
    print(USAGE);
    return command === undefined ? EXIT.badInput : EXIT.answered;
  }
  const load = Object.hasOwn(COMMANDS, command) ? COMMANDS[command] : undefined;
  if (!load) throw new InputError(`There is no command "${command}".`, USAGE);
  return (await load())(rest);
}

/** Errors that are the input's fault carry a code and a hint; everything else is the program's. */
function tell(error: unknown): number {
  const { name, message, hint } = error as { name?: string; message?: string; hint?: string };
  const isInput = error instanceof InputError || name === 'VisionError' || name === 'CalcError';
  if (isInput) {
    process.stderr.write(`${message}\n${hint ? `${hint}\n` : ''}`);
    return EXIT.badInput;
  }
  process.stderr.write(`The program failed, which is not your fault: ${message ?? String(error)}\n`);
  if (process.env.SWATCH_GAUGE_DEBUG) process.stderr.write(`${(error as Error).stack}\n`);
  return EXIT.fault;
}

// Standard output is for the answer alone; image libraries that talk to themselves about damaged files must not
// get in between.
for (const way of ['log', 'info', 'warn', 'error', 'debug'] as const) console[way] = () => {};
// A reader that closes the pipe early (`gauge … | head`) is no error.
process.stdout.on('error', (error: NodeJS.ErrnoException) => process.exit(error.code === 'EPIPE' ? 0 : 1));

process.exitCode = await main(process.argv.slice(2)).catch(tell);
