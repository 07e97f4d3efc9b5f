/** The examples in the documentation comments of `calc` are run, and what they say they give is compared. */
import { readdirSync, readFileSync } from 'node:fs';
import { transformSync } from 'esbuild';
import { describe, expect, it } from 'vitest';
import * as calc from '../../calc/index.ts';
import { BLANKET, PLAIN } from './specs.ts';

const folder = new URL('../../calc/', import.meta.url);

/** Names that examples use without making them. */
const given = {
  spec: BLANKET,
  readySpec: calc.readPlanSpec(PLAIN),
  plan: calc.planPiece(PLAIN),
  twoRowStripes: calc.readPlanSpec({
    ...PLAIN,
    colours: [{ id: 'A' }, { id: 'B' }],
    layout: {
      kind: 'stripes',
      stripes: [
        { colour: 'A', rows: 2 },
        { colour: 'B', rows: 2 },
      ],
    },
  }).layout,
};

interface Example {
  file: string;
  code: string;
  expected: string | null;
}

const examples: Example[] = readdirSync(folder)
  .filter((file) => file.endsWith('.ts') && !file.endsWith('.d.ts'))
  .flatMap((file) => {
    const source = readFileSync(new URL(file, folder), 'utf8');
    return [...source.matchAll(/@example([\s\S]*?)(?=\n\s*\*\s*@|\*\/)/g)].flatMap((block) =>
      statements(block[1]!.replace(/^\s*\*( |$)/gm, '')).map((each) => ({ file, ...each })),
    );
  });

/** Splits an example into statements; text after `; //` is what the statement gives. */
function statements(text: string): { code: string; expected: string | null }[] {
  const found: { code: string; expected: string | null }[] = [];
  let code = '';
  for (const line of text.split('\n')) {
    if (line.trim().startsWith('//')) {
      const last = found[found.length - 1];
      if (last && last.expected === null && code === '') last.expected = line.trim().slice(2).trim();
      continue;
    }
    const end = /;\s*(?:\/\/\s*(.*))?$/.exec(line);
    code += line.replace(/;\s*\/\/.*$/, ';') + '\n';
    if (!end || /^\s*(try|catch)/.test(line)) continue;
    found.push({ code, expected: end[1] ?? null });
    code = '';
  }
  return found.filter((each) => each.code.trim() !== '');
}

/** "0.11…" stands for any number that starts so; anything that is not a plain value is for readers. */
function compare(actual: unknown, expected: string): void {
  const rounded = /^(-?[\d.]+)…$/.exec(expected);
  if (rounded) {
    expect(String(actual)).toContain(rounded[1]);
    return;
  }
  const value = /^('[^']*'|-?[\d.]+|true|false|\[[^\]]*\])(?=$|[:,]|\s)/.exec(expected);
  if (!value) return;
  const plain =
    value[1]!.startsWith("'") || value[1]!.startsWith('[')
      ? JSON.parse(value[1]!.replace(/'/g, '"'))
      : JSON.parse(value[1]!);
  if (typeof plain === 'number') expect(actual).toBeCloseTo(plain, Number.isInteger(plain) ? 6 : 2);
  else expect(actual).toEqual(plain);
}

describe('examples in the documentation comments', () => {
  it('are there', () => {
    expect(examples.length).toBeGreaterThan(25);
  });

  it.each(examples.map((each) => [each.file, each.code.trim(), each] as const))(
    '%s: %s',
    (_file, _code, each) => {
      if (/^\s*(try|catch)/.test(each.code)) return; // shown for its form; errors.test runs it
      const names = { ...calc, ...given };
      const { code } = transformSync(each.code.trim(), { loader: 'ts' });
      // one expression, run with every export of calc in reach
      const run = new Function(...Object.keys(names), `return (${code.trim().replace(/;$/, '')});`);
      const actual: unknown = run(...Object.values(names));
      expect(actual).toBeDefined();
      if (each.expected) compare(actual, each.expected);
    },
  );
});
