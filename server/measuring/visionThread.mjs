/**
 * Entry of a vision thread: plain JavaScript, because a new thread cannot load TypeScript until this has said
 * how. The task file comes with the thread's data.
 */
import { constants, getPriority, setPriority } from 'node:os';
import { workerData } from 'node:worker_threads';
import { register } from 'tsx/esm/api';

register();
// On Linux this is this thread's priority alone: pages are answered while photos are measured. Lower than the
// process has, whatever that is; raising it is for root only.
if (process.platform === 'linux') setPriority(Math.min(constants.priority.PRIORITY_LOW, getPriority() + 4));
// Image libraries talk to themselves about damaged files; the log is no place for that.
for (const way of ['log', 'info', 'warn', 'error']) console[way] = () => {};
// piscina hands its own data in the first place and ours in the second
const { taskFile } = Array.isArray(workerData) ? workerData[1] : workerData;
const { default: runTask } = await import(taskFile);
export default runTask;
