import { englishSayer, say, type Said } from './said.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

export interface RowsDoneOptions {
  /** The row she believes she is on. */
  told: number | null;
  /** Rows counted in a photo from edge to edge; `orElse` is the other number where either may be right. */
  counted: (Uncertain & { orElse?: number | null | undefined }) | null;
  /** Height of the body without its border, mm, and its rows per 10 cm. */
  bodyHeightMm: Uncertain | null;
  rowsPer10cm: Uncertain | null;
}

export interface RowsDone {
  /** What the rest is worked out with: hers, else the count, else the height's; null when nothing tells. */
  value: number | null;
  from: 'told' | 'counted' | 'height' | null;
  counted: number | null;
  /** Height ÷ row height. */
  fromHeight: Estimate | null;
  /** Photo less hers, where they differ by more than they may. */
  difference: number | null;
  /** What she should know about it, as a code with its values, and the same in English. */
  said: Said | null;
  message: string | null;
}

/**
 * How many rows are done: as she counts them, as the photo shows them, and as the height has it, held against
 * each other.
 *
 * @example
 * rowsDone({ told: 40, counted: { value: 42, standardUncertainty: 0.5 }, bodyHeightMm: null, rowsPer10cm: null })
 *   .message; // 'The photo shows 42 rows, 2 more than the 40 you are on: count again before you go on.'
 */
export function rowsDone(options: RowsDoneOptions): RowsDone {
  const { told, counted, bodyHeightMm, rowsPer10cm } = options;
  const fromHeight =
    bodyHeightMm && rowsPer10cm
      ? estimate(
          (bodyHeightMm.value * rowsPer10cm.value) / 100,
          ((bodyHeightMm.value * rowsPer10cm.value) / 100) *
            Math.hypot(
              bodyHeightMm.standardUncertainty / bodyHeightMm.value,
              rowsPer10cm.standardUncertainty / rowsPer10cm.value,
            ),
          0,
        )
      : null;
  const whole = counted ? Math.round(counted.value) : null;
  const value = told ?? whole ?? (fromHeight ? Math.round(fromHeight.value) : null);
  const from = told !== null ? 'told' : whole !== null ? 'counted' : fromHeight ? 'height' : null;
  const result = { value, from, counted: whole, fromHeight } as const;
  const agreed = { ...result, difference: null, said: null, message: null };
  const differs = (difference: number | null, said: Said): RowsDone => ({
    ...result,
    difference,
    said,
    message: say(said, englishSayer('cm')),
  });
  const other = counted?.orElse ?? null;
  const either =
    whole !== null && other !== null ? { low: Math.min(whole, other), n: Math.max(whole, other) } : null;
  if (told === null && either)
    return differs(null, { code: 'rowsDone.either', values: { ...either, taken: whole! } });
  if (told === null) return agreed;
  if (whole !== null && counted) {
    const off = whole - told;
    if (told === other || Math.abs(off) <= 1.96 * counted.standardUncertainty) return agreed;
    if (either) return differs(off, { code: 'rowsDone.neither', values: { ...either, told } });
    // As far as a photo's own count may be out.
    if (Math.abs(off) === 1) return differs(off, { code: 'rowsDone.byOne', values: { n: whole, told } });
    return differs(off, {
      code: off > 0 ? 'rowsDone.more' : 'rowsDone.fewer',
      values: { n: whole, off: Math.abs(off), told },
    });
  }
  // The edges are known to about half a row each besides.
  if (fromHeight && Math.abs(fromHeight.value - told) > 1.96 * fromHeight.standardUncertainty + 1) {
    const rows = Math.round(fromHeight.value);
    return differs(rows - told, { code: 'rowsDone.height', values: { n: rows, told } });
  }
  return agreed;
}
