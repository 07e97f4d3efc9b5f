/**
 * A server (or, with `--worker`, a process that only measures) for the tests that kill it. Prints its port.
 * `--task FILE` names what runs in its measuring processes.
 */
import { parseArgs } from 'node:util';
import { pino } from 'pino';
import { readConfig } from '../../server/config.ts';
import { openServices } from '../../server/services.ts';
import { startServer } from '../../server/startServer.ts';

const { values } = parseArgs({
  options: { worker: { type: 'boolean' }, 'no-jobs': { type: 'boolean' }, task: { type: 'string' } },
});
const options = {
  log: pino({ level: process.env.LOG_LEVEL ?? 'silent' }, pino.destination(2)),
  takesJobs: !values['no-jobs'],
  ...(values.task ? { visionTaskFile: values.task } : {}),
};
if (values.worker) {
  await openServices(readConfig(), options);
  console.log('ready 0');
} else {
  const { port } = await startServer(readConfig(), options);
  console.log(`ready ${port}`);
}
