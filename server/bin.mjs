#!/usr/bin/env node
/**
 * The installed program: `swatch-gauge serve`, `swatch-gauge worker`, and what the command line knows.
 * Plain JavaScript, because this is what says how TypeScript is loaded.
 */
import { register } from 'tsx/esm/api';

register();
const [command] = process.argv.slice(2);
if (command === 'serve' || command === 'worker') {
  process.argv.splice(2, 1);
  await import(command === 'serve' ? './main.ts' : './worker.ts');
} else {
  await import('./cli.ts');
}
