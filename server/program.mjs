/**
 * Loads a module of the program: from what `npm run build` made of it, where that is at hand and newer than every
 * source, else from the source itself, through tsx. A built program begins to measure half a second sooner and holds
 * 50 MB less. Plain JavaScript, because TypeScript cannot be loaded until this has said how.
 */
import { existsSync, readdirSync, statSync } from 'node:fs';
import { dirname, join, relative, sep } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

const ROOT = dirname(dirname(fileURLToPath(import.meta.url)));
/** What the program is made of. */
export const ROOMS = ['calc', 'vision', 'server'];
/** Where it is built, and the file whose time says when. */
export const BUILT_FOLDER = join('dist', 'program');
export const STAMP = 'built';

/**
 * @param {URL | string} source where its source is, as a `file:` URL
 * @returns {Promise<any>} the module
 */
export async function loadProgram(source) {
  const built = builtFor(ROOT, fileURLToPath(source));
  if (built !== null) return await import(pathToFileURL(built).href);
  const { register } = await import('tsx/esm/api');
  register();
  return await import(String(source));
}

/**
 * Name of the built file of a module.
 *
 * @param {string} root of the repository
 * @param {string} source path of its source
 * @example
 * builtName('/repo', '/repo/server/measuring/visionTask.ts'); // 'server.measuring.visionTask'
 */
export function builtName(root, source) {
  return relative(root, source).replace(/\.ts$/, '').split(sep).join('.');
}

/**
 * @param {string} root of the repository, or of the package
 * @param {string} source path of a module's source
 * @returns {string | null} where it was built, or null where it was not, or something has changed since
 */
export function builtFor(root, source) {
  const built = join(root, BUILT_FOLDER, `${builtName(root, source)}.js`);
  if (!existsSync(built)) return null;
  // A package is built when it is packed, and nobody changes its sources.
  const isWorkingCopy = existsSync(join(root, 'tsconfig.json'));
  return isWorkingCopy && hasChanged(root) ? null : built;
}

function hasChanged(root) {
  const stamp = join(root, BUILT_FOLDER, STAMP);
  if (!existsSync(stamp)) return true;
  const builtMs = statSync(stamp).mtimeMs;
  const isNewer = (path) => existsSync(path) && statSync(path).mtimeMs > builtMs;
  // A folder's own time tells of files that went or got another name.
  const inFolder = (folder) =>
    isNewer(folder) ||
    readdirSync(folder, { withFileTypes: true }).some((one) =>
      one.isDirectory() ? inFolder(join(folder, one.name)) : isNewer(join(folder, one.name)),
    );
  return (
    isNewer(join(root, 'package-lock.json')) ||
    ROOMS.some((room) => existsSync(join(root, room)) && inFolder(join(root, room)))
  );
}
