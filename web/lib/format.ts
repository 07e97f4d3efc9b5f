import { METRES_PER_YARD, MM_PER_INCH } from '../../calc/index.ts';
import { usePreferences, type Preferences } from './preferences.tsx';
import { text } from './text.ts';

const cache = new Map<string, Intl.NumberFormat>();
function formatter(options: Intl.NumberFormatOptions): Intl.NumberFormat {
  const key = JSON.stringify(options);
  let made = cache.get(key);
  if (!made) cache.set(key, (made = new Intl.NumberFormat(undefined, options)));
  return made;
}

/** Writes a plain number with a fixed number of decimals. */
export function formatNumber(value: number, decimals = 0): string {
  return formatter({ minimumFractionDigits: decimals, maximumFractionDigits: decimals }).format(value);
}

/** Everything the page writes about lengths, weights and gauges, in the maker's units. */
export interface Format {
  lengths: Preferences['lengths'];
  /** '89.0 cm' or '35.0 in' from millimetres. */
  length: (mm: number, decimals?: number) => string;
  /** '89.0' without the unit. */
  lengthNumber: (mm: number, decimals?: number) => string;
  lengthUnit: string;
  /** Millimetres of one unit. */
  mmPerUnit: number;
  /** '84.5 × 102.0 cm'. */
  size: (widthMm: number, heightMm: number) => string;
  /** Yarn length from metres: '210 m' or '230 yd'. */
  yarn: (metres: number) => string;
  grams: (grams: number) => string;
  percent: (share: number, decimals?: number) => string;
  number: typeof formatNumber;
}

export function makeFormat(lengths: Preferences['lengths']): Format {
  const mmPerUnit = lengths === 'cm' ? 10 : MM_PER_INCH;
  const lengthUnit = text(lengths === 'cm' ? 'unit.cm' : 'unit.in');
  const lengthNumber = (mm: number, decimals = 1) => formatNumber(mm / mmPerUnit, decimals);
  return {
    lengths,
    lengthUnit,
    mmPerUnit,
    lengthNumber,
    length: (mm, decimals = 1) => `${lengthNumber(mm, decimals)}\u00a0${lengthUnit}`,
    size: (widthMm, heightMm) =>
      `${lengthNumber(widthMm)}\u00a0×\u00a0${lengthNumber(heightMm)}\u00a0${lengthUnit}`,
    yarn: (metres) =>
      lengths === 'cm'
        ? `${formatNumber(metres)}\u00a0${text('unit.m')}`
        : `${formatNumber(metres / METRES_PER_YARD)}\u00a0${text('unit.yd')}`,
    grams: (grams) => `${formatNumber(grams)}\u00a0${text('unit.g')}`,
    percent: (share, decimals = 0) =>
      formatter({
        style: 'percent',
        minimumFractionDigits: decimals,
        maximumFractionDigits: decimals,
      }).format(share),
    number: formatNumber,
  };
}

const formats = { cm: makeFormat('cm'), in: makeFormat('in') };

export function useFormat(): Format {
  return formats[usePreferences().preferences.lengths];
}

/** A day from an ISO 8601 instant, as the locale writes it. */
export function formatDay(instant: string): string {
  return new Intl.DateTimeFormat(undefined, { dateStyle: 'medium' }).format(new Date(instant));
}
