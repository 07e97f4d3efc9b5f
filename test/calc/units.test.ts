import { describe, expect, it } from 'vitest';
import {
  CalcError,
  formatHook,
  formatLength,
  formatWeight,
  formatYarnLength,
  parseHook,
  parseLength,
  parseWeight,
  parseYarnLength,
} from '../../calc/index.ts';

const errorOf = (run: () => unknown): CalcError => {
  try {
    run();
  } catch (error) {
    if (error instanceof CalcError) return error;
    throw error;
  }
  throw new Error('nothing was refused');
};

describe('lengths as people type them', () => {
  it.each([
    ['35"', 889],
    ['35 in', 889],
    ['35in', 889],
    ['35 inches', 889],
    ['35”', 889],
    ["35''", 889],
    ['89 cm', 890],
    ['89cm', 890],
    ['89 CM', 890],
    ['890 mm', 890],
    ['0.89 m', 890],
    ['0,89 m', 890],
    ['.5 m', 500],
    ['2 ft 11', 889],
    ['2 ft 11 in', 889],
    ['2\' 11"', 889],
    ['2′11″', 889],
    ['1 m 20', 1200],
    ['1 yd', 914.4],
    ['38½ in', 977.9],
    ['38 1/2"', 977.9],
    ['38-1/2 in', 977.9],
    ['1/2 in', 12.7],
    ['½ in', 12.7],
    ['3 ft 2¼', 971.55],
  ])('%s', (text, mm) => {
    expect(parseLength(text)).toBeCloseTo(mm, 6);
  });

  it('a bare number takes the unit in use', () => {
    expect(parseLength('38½', { unit: 'in' })).toBeCloseTo(977.9, 6);
    expect(parseLength('38,5', { unit: 'cm' })).toBeCloseTo(385, 6);
  });

  it('a bare number with no unit in use is refused rather than guessed', () => {
    expect(errorOf(() => parseLength('38½'))).toMatchObject({ code: 'unit-missing', field: 'length' });
  });

  it.each(['', 'wide', '35 parsecs', '--3 in', '1/0 in', '1,200 mm', '11 in 2 ft', '35 in in', '-35 in'])(
    '"%s" is refused with examples',
    (text) => {
      const error = errorOf(() => parseLength(text, { field: 'target.widthMm' }));
      expect(error.code).toBe('not-understood');
      expect(error.field).toBe('target.widthMm');
      expect(error.message).toContain('35 in');
    },
  );
});

describe('weights and yarn lengths as people type them', () => {
  it.each([
    ['100 g', 100],
    ['3.5 oz', 99.2233],
    ['3½ oz', 99.2233],
    ['1 lb 2', 510.2914],
    ['0.1 kg', 100],
  ])('%s', (text, grams) => {
    expect(parseWeight(text)).toBeCloseTo(grams, 3);
  });

  it.each([
    ['210 m', 210],
    ['230 yd', 210.312],
    ['230 yards', 210.312],
  ])('%s', (text, metres) => {
    expect(parseYarnLength(text)).toBeCloseTo(metres, 6);
  });
});

describe('hooks as people type them', () => {
  it.each([
    ['5 mm', 5],
    ['5.0', 5],
    ['5,5 mm', 5.5],
    ['H', 5],
    ['H-8', 5],
    ['US H/8', 5],
    ['h8', 5],
    ['G', 4],
    ['I', 5.5],
    ['J', 6],
    ['K 10 1/2', 6.5],
    ['K-10½', 6.5],
    ['L', 8],
    ['N/P-15', 10],
  ])('%s', (text, mm) => {
    expect(parseHook(text)).toBe(mm);
  });

  it.each(['', 'R', 'big', '900 mm', 'H-9'])('"%s" is refused', (text) => {
    expect(errorOf(() => parseHook(text)).code).toBe('not-understood');
  });
});

describe('written for people', () => {
  it('lengths', () => {
    expect(formatLength(889, 'in')).toBe('35 in');
    expect(formatLength(977.9, 'in')).toBe('38½ in');
    expect(formatLength(12.7, 'in')).toBe('½ in');
    expect(formatLength(0, 'in')).toBe('0 in');
    expect(formatLength(889, 'cm')).toBe('89 cm');
  });

  it('weights, yarn, hooks', () => {
    expect(formatWeight(99.6, 'g')).toBe('100 g');
    expect(formatWeight(99.2233, 'oz')).toBe('3.5 oz');
    expect(formatYarnLength(210.3, 'yd')).toBe('230 yd');
    expect(formatHook(6.5)).toBe('6.5 mm (US K-10½)');
    expect(formatHook(7)).toBe('7 mm');
  });
});
