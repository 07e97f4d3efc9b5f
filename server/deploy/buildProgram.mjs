/**
 * Builds what the program loads (`server/program.mjs`) from its sources: `npm run build`.
 *
 * What is only read, such as networks and the page, stays where it is: a built file is told where its source lay.
 */
import { mkdir, readdir, readFile, rename, rm, stat, utimes, writeFile } from 'node:fs/promises';
import { basename, dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { BUILT_FOLDER, builtName, ROOMS, STAMP } from '../program.mjs';

const ROOT = fileURLToPath(new URL('../../', import.meta.url));
const FOLDER = join(ROOT, BUILT_FOLDER);

/** What is started: the others are loaded by these. */
const PROGRAMS = [
  'server/cli.ts',
  'server/main.ts',
  'server/worker.ts',
  'server/resetPassword.ts',
  'server/measuring/visionTask.ts',
];
/** Packages of nothing but JavaScript that a measurement loads: a tenth of a second where each is looked for and read. */
const BUILT_IN = [
  'exif-reader',
  'fft.js',
  'js-aruco2',
  'jstat',
  'ml-matrix',
  'pure-rand',
  'simple-statistics',
  'zod',
];
/** A server that runs may yet load parts of what was built when it was started. */
const KEEP_MS = 7 * 24 * 3_600_000;

/** Each module finds its files from where its source is. */
const fromSource = {
  name: 'from-source',
  setup({ onLoad }) {
    onLoad({ filter: new RegExp(`[\\\\/](${ROOMS.join('|')})[\\\\/].*\\.ts$`) }, async ({ path }) => {
      if (path.includes('node_modules')) return undefined;
      const contents = await readFile(path, 'utf8');
      const here = relative(FOLDER, path).replaceAll('\\', '/');
      return {
        contents: contents.replaceAll(
          'import.meta.url',
          `new URL(${JSON.stringify(here)}, import.meta.url).href`,
        ),
        loader: 'ts',
      };
    });
  },
};

const startedAt = new Date();
const { dependencies, optionalDependencies } = JSON.parse(await readFile(join(ROOT, 'package.json'), 'utf8'));
const { outputFiles } = await build({
  absWorkingDir: ROOT,
  entryPoints: Object.fromEntries(
    PROGRAMS.map((path) => [builtName(ROOT, join(ROOT, path)), join(ROOT, path)]),
  ),
  outdir: FOLDER,
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  external: Object.keys({ ...dependencies, ...optionalDependencies })
    .filter((name) => !BUILT_IN.includes(name))
    .flatMap((name) => [name, `${name}/*`]),
  // Packages of the older kind ask for Node's own modules in the older way.
  banner: {
    js: "import { createRequire as requireFrom } from 'node:module'; const require = requireFrom(import.meta.url);",
  },
  legalComments: 'inline',
  plugins: [fromSource],
  write: false,
});

await mkdir(FOLDER, { recursive: true });
const isProgram = ({ path }) =>
  PROGRAMS.some((one) => basename(path) === `${builtName(ROOT, join(ROOT, one))}.js`);
// What a program loads is there before it is, whoever is just starting one.
for (const file of outputFiles.toSorted((a, b) => Number(isProgram(a)) - Number(isProgram(b)))) {
  await write(file.path, file.contents);
}
const stamp = join(FOLDER, STAMP);
await write(stamp, '');
await utimes(stamp, startedAt, startedAt); // what is changed meanwhile is newer
const made = new Set([STAMP, ...outputFiles.map(({ path }) => basename(path))]);
for (const name of await readdir(FOLDER)) {
  const path = join(FOLDER, name);
  if (!made.has(name) && Date.now() - (await stat(path)).mtimeMs > KEEP_MS) await rm(path, { force: true });
}

async function write(path, contents) {
  const part = join(dirname(path), `.${process.pid}.part`);
  await writeFile(part, contents);
  await rename(part, path);
}
