import { useMemo } from 'react';
import { CalcError, say, type LengthUnit, type Said, type Sayer } from '../../calc/index.ts';
import { en } from '../strings/en.ts';
import { formatNumber, makeFormat, useFormat } from './format.ts';

/** Calc's sentences in the page's words, units and number formats. */
function pageSayer(lengths: LengthUnit): Sayer {
  const format = makeFormat(lengths);
  return {
    locale: 'en',
    // The catalogue takes in every one of calc's codes.
    entry: (code) => en[code as keyof typeof en],
    number: (value) => formatNumber(value, Number.isInteger(value) ? 0 : 1),
    length: (mm, bare) => (bare ? format.lengthNumber(mm) : format.length(mm)),
  };
}

const sayers = { cm: pageSayer('cm'), in: pageSayer('in') };

/** What calc has to say, in the given units. */
export const sayIn =
  (lengths: LengthUnit) =>
  (said: Said): string =>
    say(said, sayers[lengths]);

/** Says what calc has to say, in the maker's units. */
export function useSay(): (said: Said) => string {
  const { lengths } = useFormat();
  return useMemo(() => sayIn(lengths), [lengths]);
}

/** Why something cannot be worked out. What no field of the page can cause keeps calc's own words. */
export function refusalWords(error: CalcError, lengths: LengthUnit): string {
  return error.said ? sayIn(lengths)(error.said) : error.message;
}
