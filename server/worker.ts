/**
 * A process that only measures: `DATABASE_URL=… npm run worker`. Any number may run, on any hosts that reach
 * the database and the photos.
 */
import { answerAboutWorker } from './answerAboutWorker.ts';
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
  const status =
    config.workerPort === null
      ? null
      : await answerAboutWorker(services, config.workerPort).catch(async (error: unknown) => {
          await services.close();
          throw error;
        });
  const where = status ? `, and tells how it is at http://127.0.0.1:${status.port}/metrics` : '';
  console.log(`Measures up to ${config.visionProcesses} photos at once${where}.`);
  return async () => {
    services.stop();
    await services.close();
    status?.stop();
  };
});
