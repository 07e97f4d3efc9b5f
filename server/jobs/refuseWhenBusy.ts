import type { RequestHandler } from 'express';
import { ProblemError } from '../api/problem.ts';
import type { Services } from '../services.ts';
import { lookAtQueue, type QueueLook } from './lookAtQueue.ts';

/** Turns requests away, with a time to come back, while too many photos wait to be measured. */
export function refuseWhenBusy(services: Services): RequestHandler {
  return async (_req, _res, next) => {
    const look = await lookAtQueue(services);
    noticeShortQueue(services, look.waiting < services.config.longestQueue / 2);
    if (look.waiting < services.config.longestQueue) {
      look.waiting++; // until the next look, so that a burst does not pass on an old one
      return next();
    }
    throw tooBusy(services, look);
  };
}

/** A queue that is less than half full for so long is one that too few come back to. */
const SHORT_FOR_MS = 5000;
/** Since when the queue has been less than half full, if it is, and when somebody last came; this process's clock, ms. */
const seen = new WeakMap<Services, { shortSince: number | null; lastMs: number }>();

/** Whoever is turned away next need not stand behind those who were asked to come back and do not. */
function noticeShortQueue(services: Services, isShort: boolean): void {
  const now = performance.now();
  const { shortSince, lastMs } = seen.get(services) ?? { shortSince: null, lastMs: now };
  // While nobody came it emptied, and nobody saw it.
  const quietSince = now - lastMs > SHORT_FOR_MS ? lastMs : now;
  const since = isShort ? (shortSince ?? quietSince) : null;
  const isForgotten = since !== null && now - since > SHORT_FOR_MS;
  if (isForgotten) lastAsked.delete(services);
  seen.set(services, { shortSince: isForgotten ? now : since, lastMs: now });
}

/** Photos a second that are counted on where nothing tells of more. */
const SLOWEST_PACE = 0.25;
/** So many are asked back for one that can be taken: some never come. */
const ASKED_FOR_ONE = 2;
const LONGEST_WAIT_S = 120;
/** When, by this process's clock (ms), the last of those turned away was asked to come back. */
const lastAsked = new WeakMap<Services, number>();

/**
 * The answer to whoever cannot be served now. Each is asked back at a time of her own, one after the other at
 * the pace of measuring, because those who come back together are turned away together, and turning away a
 * photo costs receiving it.
 */
export function tooBusy(services: Services, { waiting, lastMinute }: QueueLook): ProblemError {
  // The last minute tells of all processes, but too little where it was quiet.
  const pace = Math.max(SLOWEST_PACE, lastMinute / 60, services.vision.perSecond());
  const now = performance.now();
  const whenHalfIsDone = now + (1000 * waiting) / 2 / pace;
  const turn = Math.max(whenHalfIsDone, lastAsked.get(services) ?? 0) + 1000 / (ASKED_FOR_ONE * pace);
  const seconds = Math.ceil((turn - now) / 1000);
  if (seconds > LONGEST_WAIT_S) {
    const spread = LONGEST_WAIT_S / 2;
    return new ProblemError('too-busy', { retryAfterSeconds: Math.ceil(spread + spread * Math.random()) });
  }
  lastAsked.set(services, turn);
  return new ProblemError('too-busy', { retryAfterSeconds: Math.max(1, seconds) });
}
