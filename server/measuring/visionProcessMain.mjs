/**
 * What runs in a measuring process: takes one task after the other from the server and answers. Plain JavaScript,
 * because TypeScript cannot be loaded until this has said how.
 *
 * `process.argv[2]` is the module whose default export does a task.
 */
import { writeFile } from 'node:fs/promises';
import { constants, getPriority, setPriority } from 'node:os';
import { loadProgram } from '../program.mjs';

// Pages are answered while photos are measured. Lower than what was inherited, whatever that is; raising it is for
// root only.
setPriority(Math.min(constants.priority.PRIORITY_LOW, getPriority() + 4));
// Where memory runs out, a photo is lost and not the server with its database.
if (process.platform === 'linux') {
  await writeFile('/proc/self/oom_score_adj', '500').catch(() => {});
}
// Image libraries talk to themselves about damaged files; the log is no place for that.
for (const way of ['log', 'info', 'warn', 'error']) console[way] = () => {};
// A terminal and systemd send these to everybody; the server lets photos in hand finish, and ends this process.
for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP']) process.on(signal, () => {});
process.once('disconnect', () => process.exit());
if (!process.connected) process.exit();

const { default: doTask } = await loadProgram(process.argv[2]);

const usage = () => {
  const { user, system } = process.cpuUsage();
  return { residentBytes: process.memoryUsage.rss(), cpuSeconds: (user + system) / 1e6 };
};

process.on('message', async (task) => {
  process.send({ kind: 'begun' });
  try {
    const outcome = await doTask(task, (stage) => process.send({ kind: 'stage', stage }));
    process.send({ kind: 'done', outcome, usage: usage() });
  } catch (error) {
    process.send({ kind: 'failed', message: String(error?.message ?? error), usage: usage() });
  }
});
process.send({ kind: 'ready' });
