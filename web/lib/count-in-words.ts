import type { WholeCount } from '../../vision/types.ts';
import { text, type TextKey } from './text.ts';

/** A count in a sentence of its own, or in the one for two numbers of which either may be right. */
export function countInWords({ value, orElse }: WholeCount, sure: TextKey, either: TextKey): string {
  const n = Math.round(value);
  if (orElse === undefined || orElse === null) return text(sure, { n });
  return text(either, { low: Math.min(n, orElse), n: Math.max(n, orElse) });
}
