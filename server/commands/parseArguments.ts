import { parseArgs, type ParseArgsOptionsConfig } from 'node:util';
import { InputError } from './exit.ts';

/**
 * Reads a command's arguments, options and file names in any order.
 *
 * @param usage the command's own usage line, told when the arguments make no sense
 * @throws InputError for unknown options or options without their value
 */
export function parseArguments<T extends ParseArgsOptionsConfig>(args: string[], options: T, usage: string) {
  try {
    return parseArgs({ args, options, allowPositionals: true, strict: true });
  } catch (error) {
    throw new InputError((error as Error).message.split('. ')[0]! + '.', `Usage: ${usage}`);
  }
}
