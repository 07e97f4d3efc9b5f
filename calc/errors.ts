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

  constructor(code: CalcErrorCode, field: string, message: string, allowed: string) {
    super(message);
    this.name = 'CalcError';
    this.code = code;
    this.field = field;
    this.allowed = allowed;
  }
}
