/**
 * The server's process: `npm start` (page built and opened) or `npm run serve`.
 *
 * Flags: `--open` opens the page in the browser, `--share` lets paired phones on the home network in.
 */
import { parseArgs } from 'node:util';
import { isLoopbackAddress } from './access.ts';
import { readConfig } from './config.ts';
import { createLog } from './createLog.ts';
import { openInBrowser } from './openInBrowser.ts';
import { startServer } from './startServer.ts';
import { runUntilStopped } from './runUntilStopped.ts';

await runUntilStopped(async () => {
  const { values } = parseArgs({ options: { open: { type: 'boolean' }, share: { type: 'boolean' } } });
  const config = readConfig();
  if (values.share && isLoopbackAddress(config.host)) config.host = '0.0.0.0';
  // On a maker's own computer the terminal is for people; a server started by machines logs everything.
  if (values.open && !process.env.LOG_LEVEL) config.logLevel = 'warn';
  const shared = values.share === true && config.hostedAt === null;
  const server = await startServer(config, {
    log: createLog(config.logLevel),
    shared,
    withSamplePiece: true,
  });
  const url = `http://${shared ? 'localhost' : config.host}:${server.port}/`;
  console.log(`swatch-gauge is at ${url}${shared ? ' (and open to paired phones on your network)' : ''}`);
  if (values.open) {
    console.log('Press Ctrl+C to stop it.');
    openInBrowser(url);
  }
  return () => server.stop();
});
