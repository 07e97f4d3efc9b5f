import { englishSayer, say, type Said } from './said.ts';

/** Stable codes of everything `calc` can refuse. */
export const CALC_ERROR_CODES = [
  'not-a-number',
  'out-of-range',
  'not-whole',
  'not-understood',
  'unit-missing',
  'unknown-key',
  'missing',
  'inconsistent',
  'impossible',
] as const;
export type CalcErrorCode = (typeof CALC_ERROR_CODES)[number];

/**
 * Bad input, said so that the page, the command line and the API can all show it:
 * which field, what is wrong, and what would have been allowed.
 *
 * @example
 * try { checkNumber('target.widthMm', -3, { min: 10, max: 10_000 }); }
 * catch (error) { (error as CalcError).field; } // 'target.widthMm'
 */
export class CalcError extends Error {
  readonly code: CalcErrorCode;
  /** Dotted path of the field at fault, as in the plan specification. */
  readonly field: string;
  /** What would have been accepted, in words. */
  readonly allowed: string;
  /** The message as code and values, where a maker can meet it on the page. */
  readonly said: Said | null;

  constructor(code: CalcErrorCode, field: string, message: string | Said, allowed: string) {
    super(typeof message === 'string' ? message : say(message, englishSayer('cm')));
    this.name = 'CalcError';
    this.code = code;
    this.field = field;
    this.allowed = allowed;
    this.said = typeof message === 'string' ? null : message;
  }
}
