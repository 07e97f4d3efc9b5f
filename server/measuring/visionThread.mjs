/**
 * Entry of a vision thread: plain JavaScript, because a new thread cannot load TypeScript until this has said
 * how. The task file comes with the thread's data.
 */
import { workerData } from 'node:worker_threads';
import { register } from 'tsx/esm/api';

register();
// Image libraries talk to themselves about damaged files; the log is no place for that.
for (const way of ['log', 'info', 'warn', 'error']) console[way] = () => {};
// piscina hands its own data in the first place and ours in the second
const { taskFile } = Array.isArray(workerData) ? workerData[1] : workerData;
const { default: runTask } = await import(taskFile);
export default runTask;
