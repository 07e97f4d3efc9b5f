import { describe, expect, it } from 'vitest';
import { meanPitches } from '../../vision/gauge.ts';
import { countWithOutline, outlineLengths } from '../../vision/piece/countWithOutline.ts';
import type { Point, StitchKey } from '../../vision/types.ts';
import { evenLattice, type EvenLatticeOptions } from './evenLattice.ts';

/** Stitches of 9 px, rows of 7 px, all of them read. */
const latticeOf = (stitches: number, rows: number, more: EvenLatticeOptions = {}) =>
  evenLattice({
    stitchPitchPx: 9,
    rowPitchPx: 7,
    cloth: { left: 40, top: 40, right: 40 + 9 * stitches, bottom: 40 + 7 * rows },
    ...more,
  });
const LATTICE = latticeOf(26, 24);
const FABRIC = { aspect: 7 / 9, stitch: 'hdc' } as const;

/** The outline of a piece: its stitches, and the loops at its edges: half a stitch and a little wide. */
function outlineOf(stitches: number, rows: number, { without = 0 } = {}) {
  const left = 40 - 0.48 * 9;
  const right = 40 + 9 * stitches + 0.48 * 9;
  // the foundation stands out more than the last row does
  const top = 40 - 0.45 * 9;
  const bottom = 40 + 7 * rows + 0.75 * 9;
  const steps = Array.from({ length: 200 }, (_, i) => i / 200);
  return [
    ...steps.map((t) => ({ x: left + t * (right - left), y: top })),
    ...steps.map((t) => ({ x: right, y: top + t * (bottom - top) })),
    ...steps.map((t) => ({ x: right - t * (right - left), y: bottom })),
    ...steps.map((t) => ({ x: left, y: bottom - t * (bottom - top) })),
  ].filter(({ x, y }) => !(y === top && x < left + without * (right - left)));
}

describe('outlineLengths', () => {
  it.each([
    [26, 24],
    [12, 40],
    [60, 9],
  ])('counts %i stitches and %i rows, the loops at the edges left out', (stitches, rows) => {
    const found = outlineLengths(latticeOf(stitches, rows), outlineOf(stitches, rows), FABRIC);
    expect(found.rows!.ends[1] - found.rows!.ends[0]).toBeCloseTo(rows, 1);
    expect(found.stitches!.exact).toBeCloseTo(stitches, 1);
    expect(found.rows!.exact).toBeCloseTo(rows, 1);
    expect(found.rows!.spread).toBeCloseTo(0, 3);
  });

  it.each([0.4, 0.6])('counts past a stretch of edge that is hidden (%d of it)', (without) => {
    const { rows } = outlineLengths(LATTICE, outlineOf(26, 24, { without }), FABRIC);
    expect(rows!.exact).toBeCloseTo(24, 1);
  });

  it('does not count to an edge of which hardly anything is seen', () => {
    expect(outlineLengths(LATTICE, outlineOf(26, 24, { without: 0.8 }), FABRIC).rows).toBeNull();
  });

  it('knows that edges stand out more or less by the stitch', () => {
    const lengths = (stitch: StitchKey) => outlineLengths(LATTICE, outlineOf(26, 24), { ...FABRIC, stitch });
    expect(lengths('moss').stitches!.exact).toBeLessThan(lengths('hdc').stitches!.exact - 0.2);
    expect(lengths('garter').rows!.exact).toBeGreaterThan(lengths('stockinette').rows!.exact + 0.2);
  });

  it('does not carry a lattice on over cloth that was not read', () => {
    // of 24 rows, 12 were read
    const half = latticeOf(26, 12);
    const found = outlineLengths(half, outlineOf(26, 24), FABRIC);
    expect(found.rows).toBeNull();
    expect(found.stitches!.exact).toBeCloseTo(26, 1);
    expect(outlineLengths(latticeOf(26, 22), outlineOf(26, 24), FABRIC).rows!.exact).toBeCloseTo(24, 1);
  });

  it('does not count along rows that were not followed', () => {
    const unclear = latticeOf(26, 24, { quality: { rowAgreement: 0.5 } });
    const found = outlineLengths(unclear, outlineOf(26, 24), FABRIC);
    expect(found.rows).toBeNull();
    expect(found.stitches).not.toBeNull();
  });
});

describe('countWithOutline', () => {
  interface Seen {
    isCovered?: (p: Point) => boolean;
    /** What the scale was taken from, from so far right on. */
    reference?: { kind: 'sheet' | 'ruler'; left: number };
    /** Where cloth is seen, in the picture. */
    isCloth?: (p: Point) => boolean;
    doubts?: string[];
    /** An outline, and what is doubted of it. */
    outline?: { rows: number; doubts: string[] };
  }
  const rightOf = (left: number): Point[] => [
    { x: left, y: 0 },
    { x: 320, y: 0 },
    { x: 320, y: 260 },
    { x: left, y: 260 },
  ];
  const asAdvice = (codes: string[]) => codes.map((code) => ({ code, message: code }));
  const counted = async ({
    isCovered = () => false,
    reference,
    isCloth = () => true,
    doubts = [],
    outline,
  }: Seen = {}) => {
    const size = { widthPx: 320, heightPx: 260 };
    const gray = { ...size, data: new Float32Array(320 * 260).fill(0.5) };
    const same = <T>(p: T) => p;
    const evidence = {
      lattice: {
        ...LATTICE,
        places: LATTICE.places.filter((place) => isCloth(place)),
        clothAt: (x: number, y: number) => (isCloth({ x, y }) ? LATTICE.clothAt(x, y) : 0),
      },
      scale: reference && { kind: reference.kind, outlinePx: rightOf(reference.left) },
      options: {},
      mean: meanPitches(LATTICE),
      photo: { gray, decodeScale: 1 },
      flat: {
        toRectified: same,
        toDecoded: same,
        allowed: { ...size, data: new Uint8Array(320 * 260).fill(255) },
      },
      isCovered,
    };
    const piece = outline && {
      status: 'unsure',
      contourPx: outlineOf(26, outline.rows).map(({ x, y }) => ({ x: x - 0.5, y: y - 0.5 })),
      advice: asAdvice(outline.doubts),
    };
    type Taken = Parameters<typeof countWithOutline>;
    return await countWithOutline(
      evidence as unknown as Taken[0],
      { advice: asAdvice(doubts) },
      (piece ?? null) as Taken[2],
    );
  };

  it('counts to where the cloth ends, but not to what lies over its edge', async () => {
    const bare = await counted();
    expect(bare.stitches!.low95).toBeLessThan(26);
    expect(bare.stitches!.high95).toBeGreaterThan(26);
    // a ruler along the right edge, which lies at 274 px
    const beside = await counted({ isCovered: ({ x }) => x > 276 });
    expect(beside.stitches).toBeNull();
    expect(beside.rows).toEqual(bare.rows);
    expect(bare.rows).not.toBeNull();
    // and one that lies far from it
    expect((await counted({ isCovered: ({ x }) => x > 300 })).stitches).toEqual(bare.stitches);
  });

  it('counts to an edge that a sheet lies right beside, since its outline is known; a ruler may reach farther', async () => {
    const outline = { rows: 24, doubts: [] };
    const bare = await counted({ outline });
    // 2.7 px beyond where the yarn ends
    const left = 281;
    expect(await counted({ outline, reference: { kind: 'sheet', left } })).toEqual(bare);
    const beside = await counted({ outline, reference: { kind: 'ruler', left } });
    expect(beside.stitches).not.toEqual(bare.stitches);
    expect(beside.rows).toEqual(bare.rows);
    expect((await counted({ outline, reference: { kind: 'sheet', left: 270 } })).stitches).toBeNull();
  });

  it('takes nothing for a card that bears stitches all over, and counts cloth that lies on a sheet', async () => {
    const bare = await counted();
    expect(await counted({ reference: { kind: 'sheet', left: 0 } })).toEqual(bare);
    expect(await counted({ isCovered: ({ x }) => x > 150 })).toEqual(bare);
    expect(await counted({ isCovered: ({ x }) => x < 90 })).toEqual(bare);
    expect((await counted({ isCovered: ({ x }) => x > 250 })).stitches).toBeNull();
  });

  it('counts nothing where two ways of reading the stitches disagree', async () => {
    expect(await counted({ doubts: ['readings-disagree'] })).toEqual({ stitches: null, rows: null });
    expect((await counted({ doubts: ['reference-unsure'] })).rows).not.toBeNull();
  });

  it('does not state what even a doubtful outline speaks against', async () => {
    // something wide lies across the cloth: eight rows are seen on this side of it, three beyond
    const isCloth = ({ y }: Point) => y > 150 || y < 62;
    expect((await counted({ isCloth })).rows).not.toBeNull();
    const outline = { rows: 24, doubts: ['edge-unclear'] };
    const doubtful = await counted({ isCloth, outline });
    expect(doubtful.rows).toBeNull();
    expect(doubtful.stitches).not.toBeNull();
    // and where it agrees, rows are counted as without it
    expect((await counted({ outline })).rows!.value).toBe((await counted()).rows!.value);
  });
});
