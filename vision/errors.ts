/**
 * Errors that are the photo's or the request's fault, told in the maker's words.
 *
 * `code` is stable and safe to branch on; `message` says what is wrong and `hint` what to do about it.
 * Anything else that is thrown in this room is a fault of the program.
 */
export const VISION_ERROR_CODES = [
  'empty-file',
  'not-an-image',
  'unsupported-format',
  'animated',
  'too-many-pixels',
  'too-small',
  'damaged',
  'bad-option',
] as const;
export type VisionErrorCode = (typeof VISION_ERROR_CODES)[number];

/** What exactly is wrong, where one code has several causes: a stable code, and the numbers that belong to it. */
export interface VisionReason {
  code: string;
  values: Record<string, number>;
}

/**
 * @example
 * throw new VisionError('empty-file', 'This file is empty.', 'Choose the photo again.');
 */
export class VisionError extends Error {
  readonly code: VisionErrorCode;
  /** What the maker can do, one sentence. */
  readonly hint: string;
  /** Only with `bad-option`: which option cannot be used, and why. */
  readonly reason: VisionReason | undefined;

  constructor(
    code: VisionErrorCode,
    message: string,
    hint: string,
    options: { cause?: unknown; reason?: VisionReason } = {},
  ) {
    const { reason, ...rest } = options;
    super(message, rest);
    this.name = 'VisionError';
    this.code = code;
    this.hint = hint;
    this.reason = reason;
  }
}

/** True for a `VisionError`, also after it lost its class on the way between threads. */
export function isVisionError(error: unknown): error is VisionError {
  if (error instanceof VisionError) return true;
  if (typeof error !== 'object' || error === null) return false;
  const { name, code } = error as { name?: unknown; code?: unknown };
  return name === 'VisionError' && VISION_ERROR_CODES.includes(code as VisionErrorCode);
}
