/** Sentences as codes and values: one catalogue, whatever the language. */
import { describe, expect, it } from 'vitest';
import { englishSayer, planPiece, say, SENTENCES, type PlanSpec, type Sayer } from '../../calc/index.ts';

const THROW: PlanSpec = {
  gauge: { stitchesPer10cm: 13.2, rowsPer10cm: 8.8 },
  stitch: 'hdc',
  target: { widthMm: 900, heightMm: 1000 },
  multiple: { m: 10, plus: 2 },
  hookMm: 5.5,
  colours: [
    { id: 'a', name: 'Slate' },
    { id: 'b', name: 'Oat' },
  ],
  layout: {
    kind: 'stripes',
    stripes: [
      { colour: 'a', rows: 1 },
      { colour: 'b', rows: 3 },
    ],
  },
  border: { rounds: 2, stitch: 'post-rib', colour: 'a', multiple: { m: 4, plus: 1 } },
};

describe('What to do, as codes and values', () => {
  it('says the same in English as the instructions do', () => {
    const plan = planPiece(THROW);
    expect(plan.steps.map((step) => say(step, englishSayer('cm')))).toEqual(plan.instructions);
    expect(plan.instructions[0]).toBe(
      `Chain ${plan.chain} (${plan.repeats} repeats of 10, plus 2) with a 5.5 mm (US I-9) hook.`,
    );
    expect(plan.instructions[3]).toMatch(/^Colours: 1 row in Slate, 3 rows in Oat; repeat these 4 rows, /);
  });

  it('leaves no place unfilled, in any stitch, layout or term', () => {
    const all = [
      THROW,
      {
        ...THROW,
        terms: 'uk' as const,
        stitch: 'stockinette' as const,
        border: null,
        rowRepeat: { m: 4, plus: 1 },
      },
      { ...THROW, stitch: 'moss' as const, rowRepeat: { m: 2, plus: 0 } },
      {
        ...THROW,
        layout: {
          kind: 'blocks' as const,
          bands: [
            { rows: 1, across: ['a', 'b'] },
            { rows: 6, across: ['b', 'a'] },
          ],
        },
      },
    ].flatMap((spec) => planPiece(spec).instructions);
    for (const sentence of all) expect(sentence).not.toMatch(/[{}]|undefined|NaN/);
  });

  it('lets another language bring its words, order, plurals and numbers', () => {
    const other: Sayer = {
      locale: 'de',
      entry: () => ({ one: '{n} Reihe {colour}', other: '{colour}: {n} Reihen' }),
      number: (value) => value.toLocaleString('de'),
      length: String,
    };
    expect(say({ code: 'make.rowsIn', values: { n: 1, colour: 'Blau' } }, other)).toBe('1 Reihe Blau');
    expect(say({ code: 'make.rowsIn', values: { n: 1200, colour: 'Blau' } }, other)).toBe(
      'Blau: 1.200 Reihen',
    );
  });

  it('writes ordinals and lists', () => {
    const english = englishSayer('cm');
    const into = (place: number) =>
      say(
        { code: 'make.rowOneInto', values: { stitch: 'dc', place: { ordinal: place }, skipped: '' } },
        english,
      );
    expect([2, 3, 4, 11, 21].map((n) => /the (\w+) chain/.exec(into(n))?.[1])).toEqual([
      '2nd',
      '3rd',
      '4th',
      '11th',
      '21st',
    ]);
  });

  it('gives every entry words', () => {
    for (const entry of Object.values(SENTENCES))
      expect(typeof entry === 'string' ? entry : entry.one && entry.other).toBeTruthy();
  });
});
