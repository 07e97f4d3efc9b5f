import { describe, expect, it } from 'vitest';
import type { Measurement, MeasureOptions } from '../../vision/measurement.ts';
import {
  type Correction,
  countSpan,
  hasCorrections,
  type Quad,
  quadAround,
  startCorrection,
  withCorrection,
  withoutCorrections,
} from '../../web/swatch/corrections.ts';

const square = [
  { x: 100, y: 100 },
  { x: 300, y: 100 },
  { x: 300, y: 300 },
  { x: 100, y: 300 },
];
const nothingFound: Measurement = {
  status: 'refused',
  photo: { widthPx: 1000, heightPx: 800 },
  scale: null,
  gauge: null,
  lattice: null,
  counted: { stitches: null, rows: null },
  looksLike: [],
  alternatives: [],
  localGauge: [],
  overlay: null,
  advice: [],
  timingsMs: {},
};
const found: Measurement = {
  ...nothingFound,
  lattice: {
    stitchPitchPx: 10,
    rowPitchPx: 14,
    stitchAngleDeg: 0,
    rowAngleDeg: -90,
    standardUncertaintyPx: { stitchPitch: 0.1, rowPitch: 0.1 },
  },
  overlay: { fabricOutlinePx: square, rowLinesPx: [], stitchLinesPx: [] },
};

describe('Where the marks of a correction start', () => {
  it('takes the four corners of a many-sided outline, in order around it', () => {
    const rounded = square.flatMap((p) => [p, { x: (p.x + 200) / 2, y: (p.y + 200) / 2 }]);
    expect(quadAround(rounded)).toEqual(square);
  });

  it('keeps four separate corners for a shape standing on its point', () => {
    const diamond = [
      { x: 200, y: 100 },
      { x: 300, y: 200 },
      { x: 200, y: 300 },
      { x: 100, y: 200 },
    ];
    expect(new Set(quadAround(diamond)?.map((p) => `${p.x} ${p.y}`)).size).toBe(4);
  });

  it('puts marks in plain sight when nothing was found', () => {
    const marks = startCorrection('scale-rectangle', nothingFound);
    expect(marks.about).toBe('scale-rectangle');
    for (const corner of marks.about === 'scale-rectangle' ? marks.cornersPx : []) {
      expect(corner.x).toBeGreaterThan(0);
      expect(corner.x).toBeLessThan(1000);
      expect(corner.y).toBeGreaterThan(0);
      expect(corner.y).toBeLessThan(800);
    }
  });

  it('spans as many stitches (or rows) as the count says, about the middle of the fabric', () => {
    const [from, to] = countSpan('stitches', 10, found)!;
    expect(to.x - from.x).toBeCloseTo(100);
    expect(to.y - from.y).toBeCloseTo(0);
    expect((from.x + to.x) / 2).toBeCloseTo(200);
    const [low, high] = countSpan('rows', 5, found)!;
    expect(low.y - high.y).toBeCloseTo(70);
  });
});

describe('Measuring again with a correction', () => {
  const corners = [square[0]!, square[1]!, square[2]!, square[3]!] as const;

  it('gives a card its long side along the longer pair of marks, whichever way it lies', () => {
    const lying = withCorrection(
      {},
      {
        about: 'scale-rectangle',
        what: 'card',
        cornersPx: [
          { x: 0, y: 0 },
          { x: 160, y: 0 },
          { x: 160, y: 100 },
          { x: 0, y: 100 },
        ],
      },
    );
    const standing = withCorrection(
      {},
      {
        about: 'scale-rectangle',
        what: 'card',
        cornersPx: [
          { x: 0, y: 0 },
          { x: 100, y: 0 },
          { x: 100, y: 160 },
          { x: 0, y: 160 },
        ],
      },
    );
    expect(lying?.manual).toMatchObject({ widthMm: 85.6, heightMm: 53.98 });
    expect(standing?.manual).toMatchObject({ widthMm: 53.98, heightMm: 85.6 });
  });

  it('forgets what was marked and keeps what was said', () => {
    const told = {
      stitch: 'hdc',
      outline: true,
      plannedGauge: { stitchesPer10cm: 15, rowsPer10cm: 11 },
    } as const;
    const marked = [
      { about: 'scale-length', lengthMm: 50, pointsPx: [square[0]!, square[1]!] },
      { about: 'area', cornersPx: square as Quad },
      { about: 'count', axis: 'rows', count: 8, pointsPx: [square[0]!, square[3]!] },
    ] satisfies Correction[];
    const all = marked.reduce<MeasureOptions>((options, one) => withCorrection(options, one)!, told);
    expect(hasCorrections(all)).toBe(true);
    expect(withoutCorrections(all)).toEqual(told);
    expect(withoutCorrections({ ...told, reference: 'card' })).toEqual({ ...told, reference: 'card' });
  });

  it('waits for the length between two marks', () => {
    const marks = { about: 'scale-length', pointsPx: [square[0]!, square[1]!] } as const;
    expect(withCorrection({}, { ...marks, pointsPx: [...marks.pointsPx], lengthMm: null })).toBeNull();
    expect(
      withCorrection({}, { ...marks, pointsPx: [...marks.pointsPx], lengthMm: 100 })?.manual,
    ).toMatchObject({ type: 'two-points', lengthMm: 100 });
  });

  it('keeps corrections of other kinds in force, and replaces one of the same kind', () => {
    const area = withCorrection({ stitch: 'hdc' }, { about: 'area', cornersPx: [...corners] })!;
    const pair = [square[0]!, square[1]!] as [(typeof square)[0], (typeof square)[0]];
    const ten = withCorrection(area, { about: 'count', axis: 'stitches', count: 10, pointsPx: pair })!;
    const twelve = withCorrection(ten, { about: 'count', axis: 'stitches', count: 12, pointsPx: pair })!;
    const rowsToo = withCorrection(twelve, { about: 'count', axis: 'rows', count: 8, pointsPx: pair })!;
    expect(rowsToo).toMatchObject({ stitch: 'hdc', regionPx: square });
    expect(rowsToo.corrections?.map((one) => [one.axis, one.count])).toEqual([
      ['stitches', 12],
      ['rows', 8],
    ]);
    expect(hasCorrections(rowsToo)).toBe(true);
    expect(hasCorrections({ stitch: 'hdc' })).toBe(false);
  });
});
