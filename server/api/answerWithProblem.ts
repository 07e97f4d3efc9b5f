import type { ErrorRequestHandler, Request } from 'express';
import type { Services } from '../services.ts';
import { ProblemError, problemFrom, problemOf } from './problem.ts';

/** Answers whatever was thrown as a problem (RFC 9457), once the client has stopped sending. */
export function answerWithProblem({ log }: Pick<Services, 'log'>): ErrorRequestHandler {
  return (error: unknown, req, res, next) => {
    if (res.headersSent) return next(error);
    let problem = problemFrom(error);
    const { status, statusCode } = (error ?? {}) as { status?: number; statusCode?: number };
    // What express itself says of a missing file or a broken address
    if (problem.code === 'body-unreadable' && (status ?? statusCode) === 404)
      problem = problemOf('not-found');
    if (problem.status >= 500 && problem.code === 'unexpected') log.error({ err: error }, 'request failed');
    const retryAfterSeconds =
      (error instanceof ProblemError ? error.retryAfterSeconds : undefined) ??
      (problem.code === 'database-away' ? DATABASE_PAUSE_S : undefined);
    if (retryAfterSeconds !== undefined) res.set('Retry-After', String(retryAfterSeconds));
    afterBody(req, () => {
      if (!req.complete) res.set('Connection', 'close');
      res.status(problem.status).type('application/problem+json').send(JSON.stringify(problem));
    });
  };
}

/** A database that was restarted is back after about so long. */
const DATABASE_PAUSE_S = 5;

/** How long the rest of a refused body is read, so that a client that is still sending gets the answer. */
const DRAIN_MS = 10_000;

function afterBody(req: Request, answer: () => void): void {
  if (req.complete || req.destroyed) return answer();
  let isAnswered = false;
  const once = (): void => {
    if (isAnswered) return;
    isAnswered = true;
    clearTimeout(patience);
    answer();
  };
  const patience = setTimeout(once, DRAIN_MS);
  req.once('end', once).once('close', once).once('error', once);
  req.unpipe();
  req.resume();
}
