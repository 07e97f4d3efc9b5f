/** Types of `program.mjs`, which is plain JavaScript. */
export const ROOMS: string[];
export const BUILT_FOLDER: string;
export const STAMP: string;
export function loadProgram(source: URL | string): Promise<unknown>;
export function builtName(root: string, source: string): string;
export function builtFor(root: string, source: string): string | null;
