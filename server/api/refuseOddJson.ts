import type { RequestHandler } from 'express';
import { ProblemError } from './problem.ts';

/** Deeper than anything the API takes; deep nesting only serves to exhaust a program. */
const DEEPEST = 40;

/**
 * Says why a JSON value cannot be taken whatever it means, or null when it can: text that PostgreSQL cannot
 * hold (the character U+0000, halves of a surrogate pair) and bottomless nesting.
 */
export function oddityIn(value: unknown): string | null {
  const rest: [unknown, depth: number][] = [[value, 0]];
  for (let next = rest.pop(); next; next = rest.pop()) {
    const [one, depth] = next;
    if (depth > DEEPEST) return `nested deeper than ${DEEPEST} levels`;
    if (typeof one === 'string') {
      if (!isStorable(one)) return 'text with characters that cannot be stored';
    } else if (typeof one === 'object' && one !== null) {
      for (const [key, inner] of Object.entries(one)) {
        if (!isStorable(key)) return 'a name with characters that cannot be stored';
        rest.push([inner, depth + 1]);
      }
    }
  }
  return null;
}

/** With the flag `u` a surrogate matches only when its other half is missing. */
const LONE_SURROGATE = /[\ud800-\udfff]/u;
const isStorable = (text: string): boolean => !text.includes('\0') && !LONE_SURROGATE.test(text);

/** Refuses such bodies before any route sees them. */
export const refuseOddJson: RequestHandler = (req, _res, next) => {
  const oddity = oddityIn(req.body);
  if (oddity) throw new ProblemError('fields-invalid', { detail: oddity });
  next();
};
