/** The plan as a PDF file, read back: whatever it is called, on either paper, all of it and inside the page. */
import { describe, expect, it } from 'vitest';
import { planPiece, readPlanSpec, type PlanSpec } from '../../calc/index.ts';
import { fileNameFrom } from '../../web/lib/save-file.ts';
import { breakLines } from '../../web/paper/break-lines.ts';
import { isWritable, spellForPaper } from '../../web/paper/letters.ts';
import { makePlanPdf } from '../../web/paper/plan-pdf.ts';
import type { WordPictures } from '../../web/paper/word-pictures.ts';
import { sayIn } from '../../web/lib/say.ts';
import { BLANKET, PLAIN } from '../calc/specs.ts';
import { blankPng } from '../server/blankPng.ts';
import { readPdf, type ReadPage } from './read-pdf.ts';

/** In place of a browser's canvas: every letter as wide as it is high, and nothing on the picture. */
const pictures: WordPictures = {
  widthPt: (words, { sizePt }) => [...words].length * sizePt,
  draw: (words, { sizePt }) => ({
    png: blankPng(8, 8),
    widthPt: [...words].length * sizePt,
    heightPt: sizePt,
    belowPt: sizePt / 4,
  }),
};

async function pdfOf(
  spec: PlanSpec,
  options: { name?: string; paper?: 'a4' | 'letter'; lengths?: 'cm' | 'in' } = {},
): Promise<{ title: string | undefined; pages: ReadPage[]; all: string }> {
  const { name = 'Harbour throw', paper = 'a4', lengths = 'cm' } = options;
  const bytes = await makePlanPdf({
    name,
    plan: planPiece(spec),
    ready: readPlanSpec(spec),
    lengths,
    paper,
    madeAt: new Date('2026-03-01T10:00:00Z'),
    pictures,
  });
  const read = await readPdf(bytes);
  return { ...read, all: read.pages.flatMap(({ words }) => words).join(' ') };
}

/** Without the kinds of space and dash that paper may have instead. */
const plain = (words: string) => spellForPaper(words).replaceAll('\u00a0', ' ');

describe('The plan as a PDF file', () => {
  it.each([
    // ISO 216 A4; ANSI/ASME Y14.1 A, "Letter", 8.5 × 11 in
    ['a4', '210 × 297'],
    ['letter', '216 × 279'],
  ] as const)('holds the numbers, all steps and the yarn on %s', async (paper, size) => {
    const { title, pages, all } = await pdfOf(BLANKET, { paper });
    const plan = planPiece(BLANKET);
    expect(title).toBe('Harbour throw');
    expect(new Set(pages.map((page) => page.size))).toEqual(new Set([size]));
    expect(pages.length).toBeLessThanOrEqual(3);
    expect(pages.flatMap((page) => page.strays)).toEqual([]);
    const words = plain(all);
    for (const number of [plan.chain, plan.rows]) expect(words).toContain(String(number));
    for (const step of plan.steps) expect(words).toContain(plain(sayIn('cm')(step)));
    for (const each of plan.yarn!.perColour) {
      expect(words).toContain(each.name);
      expect(words).toContain(
        `${each.name}: with ${each.skeins!.forSafety95} skeins the chance of running out`,
      );
    }
    for (const [index, page] of pages.entries())
      expect(page.words.slice(-2)).toEqual(['Harbour throw', `${index + 1} / ${pages.length}`]);
  });

  it('pictures the layout in the shades of the yarns', async () => {
    const shaded: PlanSpec = {
      ...BLANKET,
      colours: [
        { ...BLANKET.colours![0]!, hex: '#ff8000' },
        { ...BLANKET.colours![1]!, hex: '#004080' },
      ],
    };
    const fills = [...(await pdfOf(shaded)).pages[0]!.fills].map((fill) =>
      fill
        .split(' ')
        .map((part) => Math.round(Number(part) * 255))
        .join(' '),
    );
    expect(fills).toEqual(expect.arrayContaining(['255 128 0', '0 64 128']));
  });

  it('says the cautions where the size is a baby’s, and only there', async () => {
    const baby: PlanSpec = { ...PLAIN, target: { widthMm: 760, heightMm: 910, forInfant: true } };
    expect(planPiece(baby).cautions).not.toEqual([]);
    expect((await pdfOf(baby)).all).toContain('If it is for a baby');
    const grown: PlanSpec = { ...PLAIN, target: { widthMm: 1500, heightMm: 1800 } };
    expect((await pdfOf(grown)).all).not.toContain('If it is for a baby');
  });

  it('is made of a plain piece whose yarn cannot be told, and says what is missing', async () => {
    const { yarn: _yarn, colours: _colours, ...bare } = PLAIN;
    expect(plain((await pdfOf(bare)).all)).toContain('then the yarn can be worked out');
  });

  it.each([
    ['accents, typed as one sign or as two', 'Crème brûlée fu\u0308r Zoe\u0308', 'Crème brûlée für Zoë'],
    ['fractions, signs and quotes', '½ “Ærø” ± 2 × €5 – fine…', '½ “Ærø” ± 2 × €5 – fine…'],
    ['a script that is not Latin', '編みブランケット', '編みブランケット'],
    ['right to left', 'שמיכה כחולה', 'שמיכה כחולה'],
    ['a picture sign', '🧶 throw', '🧶 throw'],
    ['Latin letters that the PDF’s own do not have', 'Żółty koc', 'Żółty koc'],
    ['signs that steer, not show', 'Sea\u0000\u0007\u200b\u202e throw\r\n\tfor two', 'Sea throw for two'],
  ])('takes any name: %s', async (_what, name, read) => {
    const colours = [{ id: 'main', name, skeinGrams: 100, skeinMetres: 200 }];
    const { title, pages, all } = await pdfOf({ ...PLAIN, colours }, { name });
    expect(title).toBe(name);
    expect(all.startsWith(read)).toBe(true);
    expect(all.split(read).length).toBeGreaterThan(3); // in the table, the sentences and at the foot as well
    expect(pages.flatMap((page) => page.strays)).toEqual([]);
    const needsPictures = !isWritable(read);
    expect(pages[0]!.pictures > 0).toBe(needsPictures);
  });

  it('breaks what is too long, with and without spaces, and stays on the page', async () => {
    for (const name of ['x'.repeat(120), '長'.repeat(120), 'A name of many words '.repeat(6)]) {
      const { pages, all } = await pdfOf(PLAIN, { name });
      expect(pages.flatMap((page) => page.strays)).toEqual([]);
      expect(all.replaceAll(' ', '')).toContain(name.replaceAll(' ', ''));
    }
  });

  it('is written in inches for those who measure in them', async () => {
    const { all } = await pdfOf(BLANKET, { lengths: 'in' });
    expect(plain(all)).toMatch(/\d in\b/);
    expect(plain(all)).not.toMatch(/\d cm\b/);
  });
});

describe('Lines', () => {
  const measure = (words: string) => [...words].length;
  const linesOf = (sentence: string, width: number) =>
    breakLines(sentence, width, measure).map((line) => line.map(({ words }) => words).join(' '));

  it('are filled as far as they go', () => {
    expect(linesOf('one two three four', 8)).toEqual(['one two', 'three', 'four']);
    expect(linesOf('', 8)).toEqual([]);
  });
  it('keep what is right to left together where it fits', () => {
    const [line] = breakLines('see שמיכה כחולה now', 40, measure);
    expect(line!.map(({ words }) => words)).toEqual(['see', 'שמיכה כחולה', 'now']);
  });
  it('never cut a sign that is made of several', () => {
    const family = '👩‍👧';
    expect(linesOf(family.repeat(3), measure(family)).join('')).not.toContain('\u200d👧👩');
  });
});

describe('A name for a file', () => {
  it.each([
    ['Throw: sea/sky', 'Throw sea sky'],
    ['..\\secret', 'secret'],
    ['???', 'Plan'],
    ['編み'.repeat(60), '編み'.repeat(40)],
  ])('%s', (words, name) => expect(fileNameFrom(words, 'Plan')).toBe(name));
});
