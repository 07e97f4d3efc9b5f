/** As `server/main.ts`, with the test's own work in the measuring processes (`--task FILE`). Prints its port. */
import { parseArgs } from 'node:util';
import { pino } from 'pino';
import { readConfig } from '../../server/config.ts';
import { runUntilStopped } from '../../server/runUntilStopped.ts';
import { startServer } from '../../server/startServer.ts';

await runUntilStopped(async () => {
  const { values } = parseArgs({ options: { task: { type: 'string' } } });
  const server = await startServer(readConfig(), {
    log: pino({ level: 'silent' }),
    visionTaskFile: values.task!,
  });
  console.log(`ready ${server.port}`);
  return () => server.stop();
});
