import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { SENTENCES, SIZE_PRESETS, type SentenceCode } from '../../calc/index.ts';
import { listProblems } from '../../server/api/problem.ts';
import { BAD_OPTION_CODES } from '../../vision/badOption.ts';
import { VISION_ERROR_CODES } from '../../vision/errors.ts';
import { STAGES } from '../../vision/measurement.ts';
import { REFERENCE_KINDS } from '../../vision/types.ts';
import { ApiError, sentenceOf } from '../../web/lib/api.ts';
import { hrefOf, parseRoute, type Route } from '../../web/lib/route.ts';
import { guessFor, readPreferences } from '../../web/lib/preferences.tsx';
import { hasText, text } from '../../web/lib/text.ts';
import { en } from '../../web/strings/en.ts';

const web = join(import.meta.dirname, '../../web');
const sources = readdirSync(web, { recursive: true, encoding: 'utf8' })
  .filter((name) => /\.tsx?$/.test(name) && !name.startsWith('strings'))
  .map((name) => ({ name, source: readFileSync(join(web, name), 'utf8') }));

const samples = readdirSync(join(import.meta.dirname, '../../fixtures/samples'))
  .filter((name) => name.endsWith('.jpg'))
  .map((name) => name.replace('.jpg', ''));

/** Every code of advice in vision's sources: objects with a code, `doubt…(…)` and `refuse(…)`, the outline's words. */
function adviceCodesOfVision(): string[] {
  const folder = join(import.meta.dirname, '../../vision');
  const read = (name: string) => readFileSync(join(folder, name), 'utf8');
  const codes = readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.ts'))
    .flatMap((name) => [...read(name).matchAll(/(?:\bcode: |\b(?:doubt|refuse)\w*\(\s*)'([a-z][a-z-]+)'/g)])
    .map((match) => match[1]!);
  const words = /const WORDS = \{([\s\S]*?)\n\}/.exec(read('piece/measureOutline.ts'))![1]!;
  return [...new Set([...codes, ...[...words.matchAll(/^ {2}'([a-z-]+)':/gm)].map((match) => match[1]!)])];
}

const calcFolder = join(import.meta.dirname, '../../calc');
const calc = readdirSync(calcFolder)
  .filter((name) => name !== 'sentences.ts')
  .map((name) => readFileSync(join(calcFolder, name), 'utf8'));

describe('The catalogue of words', () => {
  it('has a sentence for everything that is looked up by a made-up key', () => {
    for (const stage of STAGES) expect(hasText(`stage.${stage}`)).toBe(true);
    for (const kind of REFERENCE_KINDS) expect(hasText(`scale.${kind}`)).toBe(true);
    for (const name of samples) expect(hasText(`sampleTitle.${name}`), name).toBe(true);
    for (const preset of SIZE_PRESETS) expect(hasText(`sizeName.${preset.key}`), preset.key).toBe(true);
  });

  it('holds nothing that no screen uses', () => {
    const all = [...sources.map((one) => one.source), ...calc].join('\n');
    const families = [
      'ordinal.', // chosen by the number
      ...[...all.matchAll(/`([a-zA-Z.]+\.)\$\{/g)].map((match) => match[1]!),
    ];
    const unused = Object.keys(en).filter(
      (key) => !all.includes(`'${key}'`) && !families.some((family) => key.startsWith(family)),
    );
    expect(unused).toEqual([]);
  });

  it('has a sentence of its own for all advice about a photo, and none for advice that is never given', () => {
    const codes = adviceCodesOfVision();
    // From each of the ways to give advice one, so that the search itself cannot quietly find nothing.
    expect(codes).toEqual(
      expect.arrayContaining(['no-fabric', 'low-relief', 'looks-disagree', 'sheet-unchecked', 'edge-hidden']),
    );
    expect(codes.filter((code) => !hasText(`advice.${code}`))).toEqual([]);
    const given = new Set([...codes, ...Object.keys(SENTENCES).map((key) => key.replace(/^advice\./, ''))]);
    const idle = Object.keys(en).filter(
      (key) => key.startsWith('advice.') && !given.has(key.replace('advice.', '')),
    );
    expect(idle).toEqual([]);
  });

  it('has a sentence for every refusal of the server, for every photo that cannot be opened, and every mark', () => {
    const codes = [
      ...listProblems().map(({ code }) => code),
      ...VISION_ERROR_CODES,
      ...BAD_OPTION_CODES.map((code) => `bad-option.${code}`),
    ];
    expect(codes.filter((code) => !hasText(`problem.${code}`))).toEqual([]);
    const idle = Object.keys(en).filter(
      (key) => key.startsWith('problem.') && !codes.includes(key.replace('problem.', '')),
    );
    expect(idle).toEqual([]);
  });

  it('says exactly what is wrong where the server does, with its numbers, and else what it can', () => {
    const problem = { title: 'This photo cannot be used.', status: 422, code: 'bad-option', hint: 'Try it.' };
    const reason = { code: 'marks-too-close', values: { count: 20 } };
    expect(sentenceOf(new ApiError({ ...problem, reason }))).toMatch(/too close together to hold 20\./);
    const newer = { code: 'not-known-yet', values: {} };
    expect(sentenceOf(new ApiError({ ...problem, reason: newer }))).toBe(text('problem.bad-option'));
    expect(sentenceOf(new ApiError({ ...problem, code: 'newer' }))).toBe(
      'This photo cannot be used. Try it.',
    );
  });

  it('takes in all that calc says, under codes that nothing of the page hides', () => {
    for (const [code, entry] of Object.entries(SENTENCES)) expect(en[code as SentenceCode]).toBe(entry);
  });

  it('fills places, chooses the plural, and leaves unknown places alone', () => {
    expect(text('neighbours.rows', { n: 1 })).toBe('1 row');
    expect(text('neighbours.rows', { n: 2 })).toBe('2 rows');
    expect(text('correct.corner')).toBe('Corner {n}');
  });

  it('is where all visible words live: no component has a sentence of its own', () => {
    const strays = sources.flatMap(({ name, source }) =>
      [...source.matchAll(/>\s*([A-Z][a-z]+(?: [a-z]+)+)[^<{]*</g)].map((match) => `${name}: ${match[1]}`),
    );
    expect(strays).toEqual([]);
  });
});

describe('Addresses', () => {
  it.each<Route>([
    { screen: 'start' },
    { screen: 'pieces' },
    { screen: 'photo-help' },
    { screen: 'pair', code: 'B7K-2' },
    { screen: 'piece', pieceId: 'a b/c', part: 'yarn' },
  ])('leads back to $screen', (route) => {
    expect(parseRoute(hrefOf(route))).toEqual(route);
  });

  it('opens the start for anything unknown', () => {
    expect(parseRoute('#/nowhere')).toEqual({ screen: 'start' });
  });
});

describe('Preferences', () => {
  const guess = { lengths: 'in', terms: 'us', shade: 'system', paper: 'a4' } as const;
  it('start from what the language tag tells about lengths, stitch names and paper', () => {
    expect(guessFor('en-US')).toEqual({ lengths: 'in', terms: 'us', shade: 'system', paper: 'letter' });
    expect(guessFor('en-CA')).toEqual({ lengths: 'cm', terms: 'us', shade: 'system', paper: 'letter' });
    expect(guessFor('en-GB')).toEqual({ lengths: 'cm', terms: 'uk', shade: 'system', paper: 'a4' });
    expect(guessFor('de')).toEqual({ lengths: 'cm', terms: 'us', shade: 'system', paper: 'a4' });
  });

  it('falls back, field by field, on anything it does not know', () => {
    expect(readPreferences('{"lengths":"cm","terms":"fr"}', guess)).toEqual({ ...guess, lengths: 'cm' });
    expect(readPreferences('not json', guess)).toEqual(guess);
    expect(readPreferences(null, guess)).toEqual(guess);
  });
});
