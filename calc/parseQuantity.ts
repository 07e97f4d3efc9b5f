import { CalcError } from './errors.ts';

export interface QuantityUnit {
  /** Everything a person may write for it, lower case. */
  spellings: readonly string[];
  /** How many base units one of it is. */
  size: number;
  /** Unit of a bare number that follows this one: "2 ft 11" means 11 inches. */
  then?: string;
}

export interface ParseQuantityOptions {
  field: string;
  /** What is parsed, for messages: 'length', 'weight'. */
  noun: string;
  units: readonly QuantityUnit[];
  /** Unit (one of its spellings) of a number written without any; a bare number is refused without it. */
  defaultUnit?: string;
  examples: string;
}

const VULGAR_FRACTIONS: Record<string, string> = {
  '¼': '1/4',
  '½': '1/2',
  '¾': '3/4',
  '⅐': '1/7',
  '⅑': '1/9',
  '⅒': '1/10',
  '⅓': '1/3',
  '⅔': '2/3',
  '⅕': '1/5',
  '⅖': '2/5',
  '⅗': '3/5',
  '⅘': '4/5',
  '⅙': '1/6',
  '⅚': '5/6',
  '⅛': '1/8',
  '⅜': '3/8',
  '⅝': '5/8',
  '⅞': '7/8',
};

// a number: "38 1/2", "38-1/2", "1/2", "38.5", "38,5"; then an optional unit
const PART =
  /^\s*(?:(\d+)[\s-]+(\d+)\/(\d+)|(\d+)\/(\d+)|(\d*[.,]\d+|\d+[.,]?))\s*([a-z"'.]*)\s*(?:,|and|\+)?\s*/;

/**
 * Reads a quantity as people type it: mixed and vulgar fractions, decimal point or comma, several
 * parts ("2 ft 11"), typographic quotes. The sum is in base units.
 *
 * @throws CalcError `not-understood` or `unit-missing`, naming the field and showing examples.
 */
export function parseQuantity(text: string, options: ParseQuantityOptions): number {
  const { field, noun, examples } = options;
  const refuse = (why: string, code: 'not-understood' | 'unit-missing' = 'not-understood'): CalcError =>
    new CalcError(
      code,
      field,
      `"${text.slice(0, 60)}" is not a ${noun} we understand: ${why}. Try ${examples}.`,
      `a ${noun} such as ${examples}`,
    );

  let rest = text
    .normalize('NFC')
    .toLowerCase()
    .replace(/[¼½¾⅐-⅞]/g, (glyph) => ` ${VULGAR_FRACTIONS[glyph] ?? glyph}`)
    .replace(/[″“”]|''/g, '"')
    .replace(/[′‘’]/g, "'")
    .replace(/⁄/g, '/')
    .replace(/[‐-―]/g, '-')
    .replace(/\s+/g, ' ')
    .trim();
  if (rest === '') throw refuse('it is empty');
  if (/\d,\d{3}(?!\d)/.test(rest)) throw refuse('the comma could mean thousands or decimals');

  let total = 0;
  let unitOfBareNumber = options.defaultUnit;
  let previousSize = Infinity;
  while (rest !== '') {
    const match = PART.exec(rest);
    if (!match) throw refuse(`"${rest}" is not a number with a unit`);
    const number = numberOf(match);
    if (!Number.isFinite(number)) throw refuse('a fraction is divided by zero');
    const written = match[7]!.replace(/\.$/, '') || unitOfBareNumber;
    if (written === undefined) throw refuse('it has no unit', 'unit-missing');
    const unit = options.units.find((candidate) => candidate.spellings.includes(written));
    if (!unit) throw refuse(`"${written}" is not a unit of ${noun}`);
    if (unit.size >= previousSize) throw refuse('its parts must go from the larger unit to the smaller');
    previousSize = unit.size;
    total += number * unit.size;
    rest = rest.slice(match[0].length);
    unitOfBareNumber = unit.then;
  }
  return total;
}

function numberOf(match: RegExpExecArray): number {
  const [, whole, top, bottom, onlyTop, onlyBottom, decimal] = match;
  if (whole !== undefined) return Number(whole) + Number(top) / Number(bottom);
  if (onlyTop !== undefined) return Number(onlyTop) / Number(onlyBottom);
  return Number(decimal!.replace(',', '.'));
}
