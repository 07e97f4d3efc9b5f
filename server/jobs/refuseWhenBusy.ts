import type { RequestHandler } from 'express';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import { countWaiting } from './countWaiting.ts';

/** Turns requests away, with a time to come back, while too many photos wait to be measured. */
export function refuseWhenBusy(services: Services): RequestHandler {
  return async (req, _res, next) => {
    const waiting = await countWaiting(services);
    if (waiting < services.config.longestQueue) return next();
    req.resume(); // read on, so that the answer reaches a client that is still sending
    throw new ProblemError('too-busy', { retryAfterSeconds: 5 });
  };
}
