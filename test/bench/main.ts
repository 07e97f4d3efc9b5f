/**
 * `npm run bench -- NAME [options]`: runs `test/bench/NAME.ts`. Each prints a table; none is a test.
 */
import { existsSync, readdirSync } from 'node:fs';

const [name, ...args] = process.argv.slice(2);
const here = new URL('.', import.meta.url);
const known = readdirSync(here)
  .filter((file) => file.endsWith('.ts') && !['main.ts', 'statistics.ts', 'baselines.ts'].includes(file))
  .map((file) => file.replace(/\.ts$/, ''));
if (name === undefined || !known.includes(name) || !existsSync(new URL(`${name}.ts`, here))) {
  console.error(`usage: npm run bench -- ${known.join('|')} [options]`);
  process.exitCode = 2;
} else {
  const bench = (await import(new URL(`${name}.ts`, here).href)) as { run(args: string[]): Promise<void> };
  await bench.run(args);
}
