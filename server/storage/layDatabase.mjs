/**
 * Lays the first files of an embedded database, in a thread of its own: it takes 0.9 GB for a moment, which only
 * the end of the thread gives back. Plain JavaScript, so that the thread can start without a loader.
 */
import { workerData } from 'node:worker_threads';
import { PGlite } from '@electric-sql/pglite';

const pglite = await PGlite.create({ dataDir: workerData.folder });
await pglite.close();
