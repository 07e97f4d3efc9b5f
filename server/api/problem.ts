import { ZodError } from 'zod';
import { isVisionError } from '../../vision/errors.ts';
import { isDatabaseAway } from '../storage/isDatabaseAway.ts';
import { asStorageError, StorageError } from '../storage/storageError.ts';
import type { Problem } from './schemas.ts';

/** Everything the API can refuse with: stable code, HTTP status, title, and what to do about it. */
const PROBLEMS = {
  'not-found': [404, 'There is nothing here.', 'Check the address.'],
  'method-not-allowed': [405, 'This cannot be done here.', undefined],
  'body-unreadable': [400, 'The request could not be read as JSON.', undefined],
  'body-too-large': [413, 'The request is too large.', undefined],
  'fields-invalid': [422, 'Some of what was sent cannot be used.', 'See which fields.'],
  'photo-missing': [400, 'There was no photo in the request.', 'Choose one photo.'],
  'photo-too-large': [413, 'This photo file is too large.', 'Choose a smaller size; 40 MB is the most.'],
  'photo-unusable': [422, 'This photo cannot be used.', undefined],
  'photo-gone': [410, 'This photo is no longer kept here.', 'Choose the photo again.'],
  'photo-in-use': [409, 'A piece still uses this photo.', 'Take it out of the piece first.'],
  'file-unusable': [422, 'This is not a piece file, or it is damaged.', 'Choose a file that was saved here.'],
  'file-too-large': [413, 'This piece file is too large.', undefined],
  'file-newer': [422, 'This piece file was saved by a newer version.', 'Update this program first.'],
  'revision-stale': [
    409,
    'The piece was changed elsewhere meanwhile.',
    'Load it again, then repeat the change.',
  ],
  'no-plan': [404, 'This piece has no plan yet.', 'Plan it first.'],
  'plan-unusable': [422, 'This plan cannot be worked out.', undefined],
  'not-measured': [409, 'This photo has not been measured.', 'Wait for it, or measure it again.'],
  'too-busy': [503, 'Too many photos are waiting.', 'Try again in a moment.'],
  'database-away': [503, 'The database cannot be reached at the moment.', 'Try again in a moment.'],
  'too-many-requests': [429, 'That was a lot at once.', 'Try again in a moment.'],
  'not-from-our-page': [403, 'This request did not come from the program’s own page.', undefined],
  'sign-in': [401, 'You are not signed in here.', 'Sign in, or scan the code that the computer shows.'],
  'wrong-password': [403, 'Name and password do not fit together.', 'Try again.'],
  'name-taken': [409, 'This name is taken already.', 'Choose another one.'],
  'wrong-invitation': [403, 'This is not the invitation of this server.', 'Ask whoever runs it.'],
  'no-accounts': [404, 'There are no accounts here.', 'Nobody needs to sign in.'],
  'account-full': [
    507,
    'Your share of this server is used up.',
    'Delete pieces or photos that you no longer need.',
  ],
  'account-busy': [429, 'Some of your photos are still waiting.', 'Wait for them first.'],
  'host-only': [403, 'Only the computer that runs the program may do this.', undefined],
  'pairing-invalid': [403, 'This code is wrong, used up or too old.', 'Show a new code on the computer.'],
  'not-shared': [
    409,
    'The program is open to this computer only.',
    'Start it with --share to use a phone on the home network.',
  ],
  'took-too-long': [504, 'Measuring this photo took too long.', 'Try a smaller or sharper photo.'],
  'measuring-failed': [
    500,
    'Measuring this photo failed, which is not your fault.',
    'Try another photo of it.',
  ],
  'storage-trouble': [507, 'Nothing can be stored at the moment.', undefined],
  unexpected: [500, 'The program failed, which is not your fault.', 'Try again; if it stays, restart it.'],
} as const satisfies Record<string, readonly [number, string, string | undefined]>;
export type ProblemCode = keyof typeof PROBLEMS;

/**
 * Problem details (RFC 9457) for a code.
 *
 * @example
 * problemOf('not-found'); // { type: 'about:blank#not-found', status: 404, title: …, code: 'not-found', … }
 */
export function problemOf(code: ProblemCode, extra: Partial<Problem> = {}): Problem {
  const [status, title, hint] = PROBLEMS[code];
  return { type: `/api/v1/docs#problem-${code}`, title, status, code, ...(hint ? { hint } : {}), ...extra };
}

/** Codes with their texts, for the documentation. */
export const listProblems = (): Problem[] =>
  Object.keys(PROBLEMS).map((code) => problemOf(code as ProblemCode));

/** Thrown by routes to answer with a problem. */
export class ProblemError extends Error {
  readonly problem: Problem;
  /** Seconds after which trying again makes sense. */
  readonly retryAfterSeconds: number | undefined;

  constructor(code: ProblemCode, extra: Partial<Problem> & { retryAfterSeconds?: number } = {}) {
    const { retryAfterSeconds, ...rest } = extra;
    super(code);
    this.name = 'ProblemError';
    this.problem = problemOf(code, rest);
    this.retryAfterSeconds = retryAfterSeconds;
  }
}

/** Says for any thrown thing which problem it is; what nobody foresaw is `unexpected`, without its insides. */
export function problemFrom(error: unknown): Problem {
  if (error instanceof ProblemError) return error.problem;
  if (error instanceof ZodError) {
    const errors = error.issues.slice(0, 20).map((issue) => ({
      field: issue.path.join('.'),
      message: issue.message.slice(0, 300),
    }));
    return problemOf('fields-invalid', { errors });
  }
  if (isVisionError(error)) {
    const { code, message, hint, reason } = error;
    return problemOf('photo-unusable', { code, detail: message, hint, ...(reason ? { reason } : {}) });
  }
  const trouble = asStorageError(error);
  if (trouble instanceof StorageError) {
    return problemOf('storage-trouble', { code: trouble.code, detail: trouble.message });
  }
  if (isDatabaseAway(error)) return problemOf('database-away');
  const { name, code, message, field, allowed, type, status } = (error ?? {}) as Record<string, unknown>;
  if (name === 'CalcError') {
    const errors = [{ field: String(field), message: String(message) }];
    return problemOf('plan-unusable', {
      code: String(code),
      detail: String(message),
      hint: String(allowed),
      errors,
    });
  }
  if (name === 'MulterError') {
    return problemOf(code === 'LIMIT_FILE_SIZE' ? 'photo-too-large' : 'photo-missing');
  }
  if (type === 'entity.too.large') return problemOf('body-too-large');
  // A value that fits its schema but not its column (SQLSTATE class 22, "data exception")
  if (typeof code === 'string' && /^22[0-9A-Z]{3}$/.test(code)) return problemOf('fields-invalid');
  // express and its body parsers mark the client's faults with a 4xx status
  if (typeof status === 'number' && status >= 400 && status < 500)
    return problemOf('body-unreadable', { status });
  return problemOf('unexpected');
}
