import type { RequestHandler } from 'express';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import { lookAtQueue, type QueueLook } from './lookAtQueue.ts';

/** Turns requests away, with a time to come back, while too many photos wait to be measured. */
export function refuseWhenBusy(services: Services): RequestHandler {
  return async (_req, _res, next) => {
    const look = await lookAtQueue(services);
    if (look.waiting < services.config.longestQueue) {
      look.waiting++; // until the next look, so that a burst does not pass on an old one
      return next();
    }
    throw new ProblemError('too-busy', { retryAfterSeconds: secondsUntilRoom(look) });
  };
}

/** Photos a second that are counted on when the last minute tells of fewer (it may just have begun). */
const SLOWEST_PACE = 0.25;

/**
 * When half of those waiting will have had their turn at the pace of the last minute. Spread at random, so that
 * those turned away together do not come back together: turning away a photo costs receiving it.
 */
function secondsUntilRoom({ waiting, lastMinute }: QueueLook): number {
  const seconds = waiting / 2 / Math.max(SLOWEST_PACE, lastMinute / 60);
  return Math.ceil(Math.min(60, Math.max(3, seconds)) * (0.5 + Math.random()));
}
