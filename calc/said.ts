import { formatLength } from './formatLength.ts';
import { SENTENCES, type SentenceCode } from './sentences.ts';
import type { LengthUnit } from './units.ts';

/** What may fill a place in a sentence; lengths, ordinals and lists are written by whoever says it. */
export type SaidValue =
  | string
  | number
  | Said
  /** A length; `bare` leaves the unit to the length after it. */
  | { lengthMm: number; bare?: boolean }
  | { ordinal: number }
  /** Parts one after the other, or joined by "and". */
  | { list: SaidValue[]; joined: 'comma' | 'and' };

/** A sentence as its code in `SENTENCES` and what fills it: words come last, in whatever language. */
export interface Said {
  code: SentenceCode;
  values: Record<string, SaidValue>;
}

/** A catalogue's entry: a sentence, or one for each plural category of `{n}`. */
export type SentenceEntry = string | { one: string; other: string };

/** How to say things: the page brings its own words and number formats. */
export interface Sayer {
  locale: string;
  entry: (code: SentenceCode | `ordinal.${string}`) => SentenceEntry;
  number: (value: number) => string;
  length: (mm: number, bare: boolean) => string;
}

const lists = new Map<string, Intl.ListFormat>();
const plurals = new Map<string, Intl.PluralRules>();
function kept<T>(from: Map<string, T>, key: string, make: () => T): T {
  const found = from.get(key) ?? make();
  from.set(key, found);
  return found;
}

/** Says things in plain English, for the command line and the API. */
export function englishSayer(units: LengthUnit): Sayer {
  return {
    locale: 'en',
    entry: (code) => SENTENCES[code as SentenceCode],
    number: String,
    length: (mm, bare) => {
      // To the half centimetre a small difference would be lost.
      if (units === 'cm' && !bare && mm < 50) return `${Math.round(mm)} mm`;
      const written = formatLength(mm, units);
      return bare ? written.replace(/ (cm|in)$/, '') : written;
    },
  };
}

/**
 * A sentence in words.
 *
 * @example
 * say({ code: 'make.rowsIn', values: { n: 2, colour: 'Oat' } }, englishSayer('cm')); // '2 rows in Oat'
 */
export function say(said: Said, sayer: Sayer): string {
  return fill(sayer.entry(said.code), said.values, sayer);
}

function fill(entry: SentenceEntry, values: Record<string, SaidValue>, sayer: Sayer): string {
  const plural = kept(plurals, sayer.locale, () => new Intl.PluralRules(sayer.locale));
  const sentence =
    typeof entry === 'string' ? entry : plural.select(Number(values.n)) === 'one' ? entry.one : entry.other;
  return sentence.replace(/\{(\w+)\}/g, (whole, name: string) => {
    const value = values[name];
    return value === undefined ? whole : write(value, sayer);
  });
}

function write(value: SaidValue, sayer: Sayer): string {
  if (typeof value === 'string') return value;
  if (typeof value === 'number') return sayer.number(value);
  if ('code' in value) return say(value, sayer);
  if ('lengthMm' in value) return sayer.length(value.lengthMm, value.bare ?? false);
  if ('ordinal' in value) {
    const rules = kept(
      plurals,
      `${sayer.locale} ordinal`,
      () => new Intl.PluralRules(sayer.locale, { type: 'ordinal' }),
    );
    return fill(sayer.entry(`ordinal.${rules.select(value.ordinal)}`), { n: value.ordinal }, sayer);
  }
  const list = kept(
    lists,
    `${sayer.locale} ${value.joined}`,
    () => new Intl.ListFormat(sayer.locale, { type: value.joined === 'and' ? 'conjunction' : 'unit' }),
  );
  return list.format(value.list.map((each) => write(each, sayer)));
}
