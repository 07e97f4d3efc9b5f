import { CalcError } from './errors.ts';
import { HOOK_SIZES } from './hookSizes.ts';

/**
 * Reads a hook size as people type it, in mm: `5 mm`, `5.0`, `H`, `H-8`, `US H/8`, `K 10 1/2`.
 * A letter alone takes the commonest size of that letter (G is 4 mm, I is 5.5 mm).
 *
 * @throws CalcError `not-understood`.
 * @example parseHook('US H/8'); // 5
 */
export function parseHook(text: string, field = 'hook'): number {
  const tidy = text
    .trim()
    .toUpperCase()
    .replace(/^US\s*/, '')
    .replace(/½|\s*1\/2/, '.5')
    .replace(/\.5(?=\D|$)/, '.5');
  const metric = /^(\d+(?:[.,]\d+)?)\s*(MM)?$/.exec(tidy);
  if (metric) {
    const mm = Number(metric[1]!.replace(',', '.'));
    if (mm >= 0.4 && mm <= 50) return mm;
  }
  const key = tidy.replace(/[^A-Z0-9.]/g, '');
  const plainKey = (us: string): string => us.replace('½', '.5').replace(/[^A-Z0-9.]/g, '');
  const exact = HOOK_SIZES.filter((size) => size.us !== null && plainKey(size.us) === key);
  // a letter alone: the size whose label pairs it with a number is the common one
  const byLetter = HOOK_SIZES.filter((size) => size.us !== null && size.us.split(/[-/]/)[0] === key);
  const found = byLetter.find((size) => /\d/.test(size.us!)) ?? exact[0] ?? byLetter[0];
  const chosen = /\d/.test(key) ? exact[0] : found;
  if (!chosen) {
    const allowed = 'millimetres such as 5 mm, or a US letter such as H-8';
    throw new CalcError(
      'not-understood',
      field,
      `"${text.slice(0, 40)}" is not a hook size; use ${allowed}.`,
      allowed,
    );
  }
  return chosen.mm;
}
