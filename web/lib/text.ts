import { en } from '../strings/en.ts';

export type TextKey = keyof typeof en;
export type TextValues = Record<string, string | number>;

/** One entry of the catalogue: a sentence, or one sentence per plural category chosen by `{n}`. */
export type Entry = string | { one: string; other: string };

const plural = new Intl.PluralRules('en');

/**
 * Looks a sentence up in the catalogue and fills its `{name}` places.
 * Numbers are written with the locale's separators; pass strings for anything formatted already.
 *
 * @example text('rows.count', { n: 1 }) // '1 row'
 */
export function text(key: TextKey, values: TextValues = {}): string {
  const entry: Entry = en[key];
  const sentence =
    typeof entry === 'string'
      ? entry
      : plural.select(Number(values.n ?? 0)) === 'one'
        ? entry.one
        : entry.other;
  return sentence.replace(/\{(\w+)\}/g, (whole, name: string) => {
    const value = values[name];
    if (value === undefined) return whole;
    return typeof value === 'number' ? new Intl.NumberFormat().format(value) : value;
  });
}

/** True when the catalogue has the key: lets advice from elsewhere fall back to the words it came with. */
export function hasText(key: string): key is TextKey {
  return Object.hasOwn(en, key);
}
