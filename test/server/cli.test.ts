import { execFile } from 'node:child_process';
import { readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { measurementSchema } from '../../server/api/schemas.ts';
import { makeFolder, makePicture } from './support.ts';

const CLI = fileURLToPath(new URL('../../server/cli.ts', import.meta.url));
let folder: string;
beforeAll(async () => {
  folder = await makeFolder();
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

interface Ran {
  code: number;
  stdout: string;
  stderr: string;
}
const gauge = (...args: string[]): Promise<Ran> =>
  new Promise((resolve) => {
    execFile(
      process.execPath,
      ['--import', 'tsx', CLI, ...args],
      { maxBuffer: 1e8 },
      (error, stdout, stderr) =>
        resolve({ code: typeof error?.code === 'number' ? error.code : 0, stdout, stderr }),
    );
  });

const file = async (name: string, content: string | Buffer): Promise<string> => {
  const path = join(folder, name);
  await writeFile(path, content);
  return path;
};

const SPEC = JSON.stringify({
  gauge: { stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 }, rowsPer10cm: 9.1 },
  stitch: 'hdc',
  target: { widthMm: '35 in', heightMm: '102 cm' },
});

describe('gauge plan', () => {
  it('prints the plan as JSON, alone on standard output', async () => {
    const { code, stdout, stderr } = await gauge('plan', await file('spec.json', SPEC), '--json');
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    expect(JSON.parse(stdout)).toMatchObject({
      stitches: expect.any(Number) as number,
      instructions: expect.any(Array) as [],
    });
  });

  it('prints it for people', async () => {
    const { code, stdout } = await gauge('plan', await file('spec.json', SPEC));
    expect(code).toBe(0);
    expect(stdout).toMatch(/Chain \d+/);
    expect(stdout).toMatch(/rows: /);
  });

  it.each([
    ['a field out of range', SPEC.replace('"35 in"', '-1'), 'widthMm'],
    ['what is no JSON', '{ nope', 'is not JSON'],
  ])('names %s and ends with 2', async (_name, content, mentions) => {
    const { code, stdout, stderr } = await gauge('plan', await file('bad.json', content));
    expect(code).toBe(2);
    expect(stdout).toBe('');
    expect(stderr).toContain(mentions);
    expect(stderr).not.toMatch(/\n\s+at /);
  });
});

describe('gauge measure', () => {
  it('refuses a picture without a swatch with 3, the JSON still printed', { timeout: 120_000 }, async () => {
    const blank = await sharp({ create: { width: 900, height: 700, channels: 3, background: '#c8beb4' } })
      .jpeg()
      .toBuffer();
    const overlay = join(folder, 'overlay.png');
    const { code, stdout } = await gauge(
      'measure',
      await file('wall.jpg', blank),
      '--json',
      '--overlay',
      overlay,
    );
    expect(code).toBe(3);
    const measurement = measurementSchema.parse(JSON.parse(stdout));
    expect(measurement).toMatchObject({ status: 'refused', gauge: null });
    expect(measurement.advice.length).toBeGreaterThan(0);
    expect(await sharp(await readFile(overlay)).metadata()).toMatchObject({ format: 'png' });
  });

  it(
    'counts a named stitch from edge to edge where there is no scale, and ends with 3',
    { timeout: 120_000 },
    async () => {
      const photo = fileURLToPath(new URL('../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url));
      const { code, stdout } = await gauge('measure', photo, '--reference', 'tape', '--stitch', 'hdc');
      expect(code).toBe(3);
      expect(stdout).toMatch(/^Edge to edge +21 stitches, 16 rows$/m);
      expect(stdout).toMatch(/^Verdict +refused: no gauge without something of known size/m);
      expect(stdout).not.toContain('per 10 cm');
    },
  );

  it.each([
    { name: 'says what an unnamed stitch was taken for', args: [], said: 1 },
    { name: 'takes her word for a named one', args: ['--stitch', 'hdc'], said: 0 },
  ])('$name', { timeout: 120_000 }, async ({ args, said }) => {
    const photo = fileURLToPath(new URL('../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url));
    const { code, stdout } = await gauge('measure', photo, ...args);
    expect(code).toBe(0);
    expect(stdout.match(/^Taken for +hdc \(\d+ %\): name it with --stitch/gm) ?? []).toHaveLength(said);
  });

  it.each([
    ['no file', () => [join(folder, 'none.jpg')], 'There is no file'],
    ['a folder', () => [folder], 'is a folder'],
    ['two files', () => ['a.jpg', 'b.jpg'], 'one photo'],
    ['an unknown reference', () => ['a.jpg', '--reference', 'banana'], 'banana'],
    ['an unknown stitch', () => ['a.jpg', '--stitch', 'banana'], 'stockinette'],
    ['an unknown yarn', () => ['a.jpg', '--yarn', 'thick'], '0, 1, 2, 3, 4, 5, 6, 7'],
    ['an unknown sheet of paper', () => ['a.jpg', '--paper', 'a6'], 'a4, a5, letter'],
    ['an unknown option', () => ['a.jpg', '--banana'], 'banana'],
  ])('ends with 2 for %s', async (_name, args, mentions) => {
    const { code, stdout, stderr } = await gauge('measure', ...args());
    expect({ code, stdout }).toEqual({ code: 2, stdout: '' });
    expect(stderr).toContain(mentions);
    expect(stderr).not.toMatch(/\n\s+at /);
  });

  it.each([
    ['an empty file', Buffer.alloc(0)],
    ['text', Buffer.from('hello')],
    [
      'a damaged HEIC',
      Buffer.concat([Buffer.from('\0\0\0\x18ftypheic\0\0\0\0mif1heic'), Buffer.alloc(200, 7)]),
    ],
  ])('ends with 2 and says what to do for %s', async (_name, content) => {
    const { code, stdout, stderr } = await gauge('measure', await file('bad.jpg', content), '--json');
    expect({ code, stdout }).toEqual({ code: 2, stdout: '' });
    expect(stderr.trim().split('\n')).toHaveLength(2);
  });

  it('leaves no half-written overlay where it may not write', async () => {
    const photo = await file('photo.jpg', await makePicture({ widthPx: 600, heightPx: 400 }));
    const { code, stderr } = await gauge(
      'measure',
      photo,
      '--overlay',
      join(folder, 'no-such-folder', 'o.png'),
    );
    expect(code).toBe(2);
    expect(stderr).toContain('folder does not exist');
    expect((await readdir(folder)).filter((name) => name.endsWith('.part'))).toEqual([]);
  });
});

describe('gauge check', () => {
  const SAMPLE = fileURLToPath(new URL('../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url));
  const project = (change: object = {}): string =>
    JSON.stringify({
      plan: {
        ...JSON.parse(SPEC),
        gauge: { stitchesPer10cm: { value: 14.2, standardUncertainty: 0.15 }, rowsPer10cm: 10.9 },
        colours: [{ id: 'fog', skeinGrams: 100, skeinMetres: 200 }],
      },
      rowsDone: 34,
      yarn: [{ colour: 'fog', gramsBefore: 600, gramsLeft: 410 }],
      ...change,
    });

  it('says how the piece is going and the ways to go on', { timeout: 120_000 }, async () => {
    const path = await file('project.json', project());
    const { code, stdout } = await gauge('check', SAMPLE, '--project', path, '--json');
    expect(code).toBe(0);
    const outcome = JSON.parse(stdout) as Record<string, never>;
    expect(outcome).toMatchObject({
      status: 'ok',
      rowsDone: { value: 34, from: 'told' },
      projection: { rowsDone: 34, message: expect.any(String) as string },
      drift: { status: expect.any(String) as string },
      yarn: [{ colour: 'fog' }],
    });
    // The swatch of the plan was looser than the photo, so that the piece will not be as wide as planned.
    const { options, gauge: measured } = outcome as unknown as {
      options: { kind: string; cost: { total: number } }[];
      gauge: { stitchesPer10cm: { value: number } };
    };
    expect(measured.stitchesPer10cm.value).toBeGreaterThan(14.5);
    expect(options.map(({ kind }) => kind)).toContain('go-on');
    const costs = options.map(({ cost }) => cost.total);
    expect(costs).toEqual(costs.toSorted((a, b) => a - b));
  });

  it('doubts what is far from the gauge of the plan', { timeout: 120_000 }, async () => {
    const plan = { ...JSON.parse(project()).plan, gauge: { stitchesPer10cm: 20, rowsPer10cm: 15 } };
    const path = await file('project.json', project({ plan }));
    const { code, stdout } = await gauge('check', SAMPLE, '--project', path);
    expect(code).toBe(0);
    expect(stdout).toContain('far from the one that the piece was planned with');
  });

  it.each([
    ['more rows than the plan has', { rowsDone: 9999 }, 'rowsDone'],
    ['a field that means nothing', { banana: 1 }, 'banana'],
    ['no plan', { plan: undefined }, 'plan is missing'],
  ])('ends with 2 for a project with %s', { timeout: 120_000 }, async (_name, change, mentions) => {
    const { code, stderr } = await gauge(
      'check',
      SAMPLE,
      '--project',
      await file('project.json', project(change)),
    );
    expect(code).toBe(2);
    expect(stderr).toContain(mentions);
    expect(stderr).not.toMatch(/\n\s+at /);
  });

  it('ends with 2 without a project', async () => {
    expect((await gauge('check', SAMPLE)).code).toBe(2);
  });
});

describe('gauge', () => {
  it('tells its commands', async () => {
    expect((await gauge('--help')).stdout).toContain('gauge measure PHOTO');
    expect((await gauge('banana')).code).toBe(2);
  });
});
