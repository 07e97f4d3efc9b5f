/** Bad input is refused with the field's name and what would have been allowed. */
import { describe, expect, it } from 'vitest';
import { CalcError, hookAdvice, planPiece, readPlanSpec, searchPlans, sizeTable } from '../../calc/index.ts';
import { BLANKET, PLAIN } from './specs.ts';

function refusal(input: unknown): CalcError {
  try {
    planPiece(input as never);
  } catch (error) {
    expect(error).toBeInstanceOf(CalcError);
    return error as CalcError;
  }
  throw new Error('nothing was refused');
}

const width = (widthMm: unknown) => ({ ...PLAIN, target: { ...PLAIN.target, widthMm } });

describe('typed errors', () => {
  it.each([
    ['zero', width(0), 'out-of-range', 'target.widthMm'],
    ['negative', width(-890), 'out-of-range', 'target.widthMm'],
    ['NaN', width(NaN), 'not-understood', 'target.widthMm'],
    ['infinite', width(Infinity), 'not-understood', 'target.widthMm'],
    ['a 3 km blanket', width(3_000_000), 'out-of-range', 'target.widthMm'],
    ['a 3 km blanket, in text', width('3000 m'), 'out-of-range', 'target.widthMm'],
    ['text', width('wide'), 'not-understood', 'target.widthMm'],
    ['a list', width([890]), 'not-understood', 'target.widthMm'],
    ['multiple 0', { ...PLAIN, multiple: { m: 0 } }, 'out-of-range', 'multiple.m'],
    ['multiple 1.5', { ...PLAIN, multiple: { m: 1.5 } }, 'not-whole', 'multiple.m'],
    [
      'a negative gauge',
      { ...PLAIN, gauge: { stitchesPer10cm: -1, rowsPer10cm: 9 } },
      'out-of-range',
      'gauge.stitchesPer10cm',
    ],
    ['no row gauge', { ...PLAIN, gauge: { stitchesPer10cm: 13 } }, 'missing', 'gauge.rowsPer10cm'],
    [
      'a gauge both per 10 cm and per 4 in',
      { ...PLAIN, gauge: { stitchesPer10cm: 13, stitchesPer4in: 13, rowsPer10cm: 9 } },
      'inconsistent',
      'gauge.stitchesPer10cm',
    ],
    ['a misspelled field', { ...PLAIN, colors: [] }, 'unknown-key', 'colors'],
    ['a stitch nobody listed', { ...PLAIN, stitch: 'xyz' }, 'not-understood', 'stitch'],
    ['no target', { ...PLAIN, target: undefined }, 'missing', 'target'],
    ['nothing at all', undefined, 'missing', 'plan'],
    [
      'a border colour that is not there',
      { ...BLANKET, border: { rounds: 2, stitch: 'dc', colour: 'red' } },
      'unknown-key',
      'border.colour',
    ],
    [
      'a hundred and one rounds',
      { ...BLANKET, border: { rounds: 101, stitch: 'dc' } },
      'out-of-range',
      'border.rounds',
    ],
    [
      'two colours of one id',
      { ...PLAIN, colours: [{ id: 'a' }, { id: 'a' }] },
      'inconsistent',
      'colours.1.id',
    ],
    [
      'more yarn left than there was',
      { ...PLAIN, yarn: { usedSoFar: [{ colour: 'main', gramsBefore: 100, gramsLeft: 150, rowsDone: 4 }] } },
      'out-of-range',
      'yarn.usedSoFar.0.gramsLeft',
    ],
  ])('%s', (_what, input, code, field) => {
    const error = refusal(input);
    expect(error).toMatchObject({ code, field });
    expect(error.allowed).not.toBe('');
    expect(error.message).toMatch(/^.{10,}\.$/s); // a sentence
  });

  it('a number out of range says the range', () => {
    expect(refusal(width(3_000_000)).message).toBe(
      'target.widthMm must be a number from 20 to 10000 mm, not 3000000.',
    );
  });

  it('a border deeper than the piece has no solution', () => {
    const error = refusal({
      ...PLAIN,
      target: { widthMm: 60, heightMm: 60, rounding: 'not-larger' },
      border: { rounds: 20, stitch: 'dc' },
    });
    expect(error).toMatchObject({ code: 'impossible', field: 'target.widthMm' });
  });

  it('the other doors refuse in the same way', () => {
    expect(() => sizeTable(PLAIN, ['no-such-size'])).toThrow(CalcError);
    expect(() => searchPlans(BLANKET, { maxSkeins: { red: 2 } })).toThrow(CalcError);
    expect(() => searchPlans(BLANKET, { widthMm: { min: 900, max: 800 } })).toThrow(CalcError);
    expect(() =>
      hookAdvice({ measured: { value: 0, standardUncertainty: 0 }, wanted: 13, hookMm: 5 }),
    ).toThrow(CalcError);
  });

  it('what was left out is filled in', () => {
    const spec = readPlanSpec({
      gauge: { stitchesPer4in: 14, rowsPer4in: 9 },
      stitch: 'hdc',
      target: PLAIN.target,
    });
    expect(spec.gauge.stitchesPer10cm.value).toBeCloseTo((14 * 100) / 101.6, 9);
    expect(spec.gauge.stitchesPer10cm.standardUncertainty).toBeGreaterThan(0);
    expect(spec.colours).toHaveLength(1);
  });
});
