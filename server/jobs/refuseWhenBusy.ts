import type { RequestHandler } from 'express';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import { lookAtQueue, type QueueLook } from './lookAtQueue.ts';

/** Turns requests away, with a time to come back, while too many photos wait to be measured. */
export function refuseWhenBusy(services: Services): RequestHandler {
  return async (req, _res, next) => {
    const look = await lookAtQueue(services);
    if (look.waiting < services.config.longestQueue) return next();
    req.resume(); // read on, so that the answer reaches a client that is still sending
    throw new ProblemError('too-busy', { retryAfterSeconds: secondsUntilRoom(look) });
  };
}

/**
 * When half of those waiting will have had their turn at the pace of the last minute. Spread at random, so that
 * those turned away together do not come back together: turning away a photo costs receiving it.
 */
function secondsUntilRoom({ waiting, lastMinute }: QueueLook): number {
  const seconds = (waiting / 2 / Math.max(1, lastMinute)) * 60;
  return Math.ceil(Math.min(120, Math.max(5, seconds)) * (0.75 + Math.random() / 2));
}
