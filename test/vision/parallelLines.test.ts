import { describe, expect, it } from 'vitest';
import {
  familiesOf,
  linesBeside,
  parallelSigns,
  type StraightLine,
} from '../../vision/piece/parallelLines.ts';
import { distort, type PictureSize } from '../../vision/scale/lens.ts';
import { applyHomography, inverted } from '../../vision/scale/geometry.ts';
import type { Matrix3, Point, RgbImage } from '../../vision/types.ts';

const SIZE: PictureSize = { widthPx: 1600, heightPx: 1200 };
/** A table that leans away toward the picture's top, px → mm, and the same table believed to lie level. */
const TRULY = { homographyPxToMm: [1, 0, 0, 0, 1, 0, 0, 0.0001, 1] as Matrix3, radialDistortion: -0.01 };
const LEVEL = { ...TRULY, homographyPxToMm: [0.94, 0, 0, 0, 0.94, 0, 0, 0, 1] as Matrix3 };
const UNIT_MM = 800;

const toPx = (mm: Point): Point =>
  distort(applyHomography(inverted(TRULY.homographyPxToMm), mm), SIZE, -0.01);
/** Boards of 90 mm that run at an angle to the picture's right, each seam seen in part. */
const boards = (angleDeg: number, wobble = 0): StraightLine[] =>
  Array.from({ length: 13 }, (_, i) => {
    const a = (angleDeg * Math.PI) / 180 + wobble * Math.sin(7.3 * i);
    const middle = { x: 750, y: 560 };
    const across = 90 * (i - 6);
    const at = (along: number): Point =>
      toPx({
        x: middle.x + along * Math.cos(a) - across * Math.sin((angleDeg * Math.PI) / 180),
        y: middle.y + along * Math.sin(a) + across * Math.cos((angleDeg * Math.PI) / 180),
      });
    const from = i % 2 === 0 ? -480 : 130;
    return { a: at(from), b: at(from + 330) };
  });

describe('lines of a table that are parallel', () => {
  it('seem to run together by a plane that leans otherwise, and not by the true one', () => {
    const lines = boards(90);
    const [family] = familiesOf(lines, LEVEL, SIZE, UNIT_MM);
    expect(family!.lines).toHaveLength(13);
    expect(Math.abs(family!.turn)).toBeGreaterThan(0.05);
    const { looks, beliefs } = parallelSigns(family!, SIZE, UNIT_MM)!;
    expect(looks(LEVEL)[0]!).toBeCloseTo(family!.turn, 3);
    expect(Math.abs(looks(TRULY)[0]!)).toBeLessThan(beliefs[0]!.sd[0]!);
    expect(beliefs.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    expect(beliefs[0]!.share).toBeGreaterThan(0.9);
  });

  it('are told apart where there are two kinds, as between tiles', () => {
    const lines = [...boards(90), ...boards(0)];
    const families = familiesOf(lines, TRULY, SIZE, UNIT_MM);
    expect(families.map(({ lines }) => lines.length)).toEqual([13, 13]);
    for (const { turn } of families) expect(Math.abs(turn)).toBeLessThan(0.004);
    // Across the lean a table's lines stay parallel whatever it leans by.
    const [seam] = familiesOf(boards(0), LEVEL, SIZE, UNIT_MM);
    expect(Math.abs(seam!.turn)).toBeLessThan(0.02);
  });

  it('are believed less where they are grain, and not at all where they are few, close together or of any direction', () => {
    const grain = familiesOf(boards(90, 0.012), TRULY, SIZE, UNIT_MM)[0]!;
    expect(grain.scatter).toBeGreaterThan(0.008);
    expect(parallelSigns(grain, SIZE, UNIT_MM)!.beliefs[0]!.share).toBeLessThan(0.9);
    expect(parallelSigns(grain, SIZE, UNIT_MM)!.beliefs[0]!.sd[0]!).toBeGreaterThan(
      parallelSigns(familiesOf(boards(90), TRULY, SIZE, UNIT_MM)[0]!, SIZE, UNIT_MM)!.beliefs[0]!.sd[0]!,
    );
    const signsOf = (lines: StraightLine[]) =>
      familiesOf(lines, TRULY, SIZE, UNIT_MM).flatMap((f) => parallelSigns(f, SIZE, UNIT_MM) ?? []);
    expect(signsOf(boards(90).slice(0, 7))).toEqual([]);
    expect(signsOf(boards(90).flatMap((line, i) => (Math.abs(i - 6) < 2 ? [line, line, line] : [])))).toEqual(
      [],
    );
    const any = Array.from({ length: 24 }, (_, i): StraightLine => {
      const [x, y, a] = [200 + ((i * 379) % 1200), 200 + ((i * 557) % 800), (i * 2.4) % Math.PI];
      return { a: { x, y }, b: { x: x + 150 * Math.cos(a), y: y + 150 * Math.sin(a) } };
    });
    expect(signsOf(any)).toEqual([]);
  });

  it('are looked for outside of what lies on it', () => {
    const rgb: RgbImage = { widthPx: 700, heightPx: 500, data: new Uint8Array(3 * 700 * 500) };
    for (let y = 0; y < 500; y++)
      for (let x = 0; x < 700; x++)
        rgb.data.fill(x % 100 < 4 ? 60 : 180, 3 * (700 * y + x), 3 * (700 * y + x) + 3);
    const piece = [
      { x: 250, y: -50 },
      { x: 450, y: -50 },
      { x: 450, y: 550 },
      { x: 250, y: 550 },
    ];
    const all = linesBeside(rgb, []);
    const beside = linesBeside(rgb, [piece]);
    expect(all.some(({ a }) => a.x > 280 && a.x < 420)).toBe(true);
    expect(beside.length).toBeGreaterThan(4);
    // neither within the piece nor at its edge
    expect(beside.every(({ a, b }) => [a.x, b.x].every((x) => x < 226 || x > 474))).toBe(true);
  });
});
