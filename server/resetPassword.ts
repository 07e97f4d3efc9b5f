/**
 * `npm run --silent reset-password -- NAME`: for whoever runs a server with accounts, when a maker forgot her
 * password. Prints a password that is good for one sign-in.
 *
 * Exit codes: 0 done, 2 it could not be done (one sentence on standard error).
 */
import { parseArgs } from 'node:util';
import { setOneTimePassword } from './accounts/oneTimePassword.ts';
import { ConfigError, readConfig } from './config.ts';
import { print } from './commands/print.ts';
import { sentenceFor } from './runUntilStopped.ts';
import { openDatabase } from './storage/openDatabase.ts';

const USAGE = 'usage: reset-password NAME (the name that she signs in with)';

async function main(): Promise<void> {
  const { positionals } = parseArgs({ allowPositionals: true });
  const [name] = positionals;
  if (name === undefined || positionals.length > 1) throw new ConfigError(USAGE);
  const database = await openDatabase(readConfig());
  try {
    const given = await setOneTimePassword(database.db, name);
    if (!given) throw new ConfigError(`There is no account named ${name} here.`);
    print(`One-time password of ${given.name}: ${given.password}`);
    print(`It is good for one sign-in until ${given.until.toISOString()}. She should then choose her own.`);
    print('All her sessions were ended.');
  } finally {
    await database.close();
  }
}

await main().catch((error: unknown) => {
  process.stderr.write(`${sentenceFor(error)}\n`);
  process.exitCode = 2;
});
