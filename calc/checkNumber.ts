import { CalcError } from './errors.ts';

export interface NumberLimits {
  min: number;
  max: number;
  /** Whole numbers only. */
  whole?: boolean;
  /** Unit shown in the message: 'mm', 'g'… */
  unit?: string;
}

/**
 * Returns `value` when it is a finite number within the limits (ends included).
 *
 * @throws CalcError `not-a-number`, `not-whole` or `out-of-range`, naming `field` and the allowed range.
 * @example checkNumber('rows', 12, { min: 1, max: 5000, whole: true }); // 12
 */
export function checkNumber(field: string, value: unknown, limits: NumberLimits): number {
  const unit = limits.unit ? ` ${limits.unit}` : '';
  const kind = limits.whole ? 'a whole number' : 'a number';
  const allowed = `${kind} from ${limits.min} to ${limits.max}${unit}`;
  if (typeof value !== 'number' || !Number.isFinite(value)) {
    throw new CalcError(
      'not-a-number',
      field,
      `${field} must be ${allowed}, not ${describe(value)}.`,
      allowed,
    );
  }
  if (value < limits.min || value > limits.max) {
    throw new CalcError('out-of-range', field, `${field} must be ${allowed}, not ${value}.`, allowed);
  }
  if (limits.whole && !Number.isInteger(value)) {
    throw new CalcError('not-whole', field, `${field} must be ${allowed}, not ${value}.`, allowed);
  }
  return value;
}

function describe(value: unknown): string {
  if (typeof value === 'string') return `the text "${value.slice(0, 40)}"`;
  if (value === null) return 'null';
  return typeof value === 'number' ? String(value) : `${typeof value}`;
}
