#!/usr/bin/env node
/**
 * The installed program: `swatch-gauge serve`, `swatch-gauge worker`, `swatch-gauge reset-password`, and what
 * the command line knows.
 * Plain JavaScript, because this is what says how the rest is loaded.
 */
import { loadProgram } from './program.mjs';

/** Programs of their own; the command line has the rest. */
const PROGRAMS = { serve: './main.ts', worker: './worker.ts', 'reset-password': './resetPassword.ts' };
const [command = ''] = process.argv.slice(2);
const isProgram = Object.hasOwn(PROGRAMS, command);
if (isProgram) process.argv.splice(2, 1);
await loadProgram(new URL(isProgram ? PROGRAMS[command] : './cli.ts', import.meta.url));
