/**
 * A process that only measures: `DATABASE_URL=… npm run worker`. Any number may run, on any hosts that reach
 * the database and the photos.
 */
import { ConfigError, readConfig } from './config.ts';
import { createLog } from './createLog.ts';
import { runUntilStopped } from './runUntilStopped.ts';
import { openServices } from './services.ts';

await runUntilStopped(async () => {
  const config = readConfig();
  if (!config.databaseUrl) {
    throw new ConfigError('A separate worker needs DATABASE_URL; without it the server measures by itself.');
  }
  const services = await openServices(config, { log: createLog(config.logLevel) });
  console.log(`Measuring with ${config.visionThreads} threads.`);
  return async () => {
    services.stop();
    await services.close();
  };
});
