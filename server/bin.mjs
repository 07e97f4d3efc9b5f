#!/usr/bin/env node
/**
 * The installed program: `swatch-gauge serve`, `swatch-gauge worker`, `swatch-gauge reset-password`, and what
 * the command line knows.
 * Plain JavaScript, because this is what says how TypeScript is loaded.
 */
import { register } from 'tsx/esm/api';

register();
/** Programs of their own; the command line has the rest. */
const PROGRAMS = { serve: './main.ts', worker: './worker.ts', 'reset-password': './resetPassword.ts' };
const [command = ''] = process.argv.slice(2);
if (Object.hasOwn(PROGRAMS, command)) {
  process.argv.splice(2, 1);
  await import(PROGRAMS[command]);
} else {
  await import('./cli.ts');
}
