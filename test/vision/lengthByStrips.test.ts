import { describe, expect, it } from 'vitest';
import { randomFabricSpec } from '../../fixtures/fabric/randomFabricSpec.ts';
import { renderFabric } from '../../fixtures/fabric/renderFabric.ts';
import type { LatticeFit } from '../../vision/fitLattice.ts';
import { lengthByStrips, type RoughEdges } from '../../vision/piece/lengthByStrips.ts';
import type { GrayImage, Point, StitchKey } from '../../vision/types.ts';
import { evenLattice } from './evenLattice.ts';

const STITCHES = 16;
const ROWS = 13;
const MARGIN_PX = 100;

/** A generated piece on a grey table, and the lattice it was drawn on. */
function piece(stitch: StitchKey, seed: number, { soft = true } = {}) {
  const spec = {
    ...randomFabricSpec(seed, { stitch, layout: 'solid', difficulty: 0.2, borderRounds: [0, 0] }),
    stitchCount: STITCHES,
    rowCount: ROWS,
  };
  if (!soft) delete spec.yarn.swell;
  const pxPerMm = (20 * spec.stitchesPer10cm) / 100;
  const raster = renderFabric(spec, { direction: [-1, -1, 1.5], ambient: 0.5 }, { pxPerMm });
  const gray: GrayImage = {
    widthPx: raster.widthPx + 2 * MARGIN_PX,
    heightPx: raster.heightPx + 2 * MARGIN_PX,
    data: new Float32Array((raster.widthPx + 2 * MARGIN_PX) * (raster.heightPx + 2 * MARGIN_PX)).fill(0.55),
  };
  for (let y = 0; y < raster.heightPx; y++)
    for (let x = 0; x < raster.widthPx; x++) {
      const from = y * raster.widthPx + x;
      const alpha = raster.alpha[from]!;
      const luma = Math.min(1, 2 * raster.rgb[3 * from + 1]!) ** (1 / 2.2);
      const to = (y + MARGIN_PX) * gray.widthPx + x + MARGIN_PX;
      gray.data[to] = alpha * luma + (1 - alpha) * gray.data[to]!;
    }
  // All corners of the lattice in one even one, as a reader that smooths sees it.
  const toPx = (column: number, row: number): Point => {
    const p = raster.latticeToMm(column, row);
    return { x: p.x * pxPerMm + MARGIN_PX, y: p.y * pxPerMm + MARGIN_PX };
  };
  const mean = (points: Point[], of: 'x' | 'y') => points.reduce((sum, p) => sum + p[of], 0) / points.length;
  const rows = (row: number) => Array.from({ length: STITCHES + 1 }, (_, c) => toPx(c, row));
  const columns = (column: number) => Array.from({ length: ROWS + 1 }, (_, r) => toPx(column, r));
  const cloth = {
    left: mean(columns(0), 'x'),
    right: mean(columns(STITCHES), 'x'),
    top: mean(rows(ROWS), 'y'),
    bottom: mean(rows(0), 'y'),
  };
  const stitchPitchPx = (cloth.right - cloth.left) / STITCHES;
  const rowPitchPx = (cloth.bottom - cloth.top) / ROWS;
  const lattice: LatticeFit = evenLattice({ stitchPitchPx, rowPitchPx, cloth });
  return {
    cloth: { gray, toGray: (p: Point) => p, lattice },
    aspect: rowPitchPx / stitchPitchPx,
  };
}

const rowsOf = (one: ReturnType<typeof piece>, more: Partial<RoughEdges> = {}) =>
  lengthByStrips(one.cloth, {
    axis: 'rows',
    ends: [0, ROWS],
    aspect: one.aspect,
    covers: [],
    ...more,
  });

describe('lengthByStrips', () => {
  it.each(['sc', 'hdc', 'dc', 'stockinette', 'garter'] as const)(
    'counts the rows of %s where they end, not where the yarn does',
    async (stitch) => {
      const one = piece(stitch, 41);
      const plain = await rowsOf(one);
      expect(plain!.exact).toBeGreaterThan(ROWS - 0.4);
      expect(plain!.exact).toBeLessThan(ROWS + 0.4);
      expect(plain!.standardUncertainty).toBeLessThan(0.4);
      // What was expected of the edges does not matter: three quarters of a row more at either end, or less.
      for (const off of [-0.75, 0.75]) {
        const other = await rowsOf(one, { ends: [-off, ROWS + off] });
        expect(Math.abs(other!.exact - ROWS)).toBeLessThan(0.4);
      }
    },
  );

  it('counts stitches from side to side', async () => {
    const one = piece('dc', 43);
    const stitches = await rowsOf(one, { axis: 'stitches', ends: [0.3, STITCHES + 0.3] });
    expect(stitches!.exact).toBeGreaterThan(STITCHES - 0.4);
    expect(stitches!.exact).toBeLessThan(STITCHES + 0.4);
  });

  it('does not count to an edge that something lies on', async () => {
    const one = piece('sc', 44);
    expect(await rowsOf(one)).not.toBeNull();
    const over = { isUnder: ({ y }: Point) => y < MARGIN_PX + 40, nearYarn: 0.75, nearEnd: 0.75 };
    expect(await rowsOf(one, { covers: [over] })).toBeNull();
    // what lies beside an edge hides it only if it may reach farther than is known
    const top = one.cloth.lattice.locate(0, ROWS + 0.5, one.cloth.lattice.places[0]!).y;
    const beside = { isUnder: ({ y }: Point) => y < top, nearYarn: 0.25, nearEnd: 0.3 };
    expect(await rowsOf(one, { covers: [beside] })).toEqual(await rowsOf(one));
    expect(await rowsOf(one, { covers: [{ ...beside, nearEnd: 0.75 }] })).toBeNull();
  });

  it('counts to the part of an edge that is left free', async () => {
    const one = piece('sc', 44);
    const { cloth } = one;
    const places = cloth.lattice.places.map(({ x }) => x);
    const shareAt = (share: number) =>
      Math.min(...places) + share * (Math.max(...places) - Math.min(...places));
    const over = (share: number) => ({
      isUnder: ({ x, y }: Point) => y < MARGIN_PX + 40 && x < shareAt(share),
      nearYarn: 0.75,
      nearEnd: 0.75,
    });
    const partly = await rowsOf(one, { covers: [over(0.55)] });
    expect(Math.abs(partly!.exact - ROWS)).toBeLessThan(0.4);
    expect(await rowsOf(one, { covers: [over(0.85)] })).toBeNull();
  });

  it('looks once at an edge that is plain, and in several places where nothing is', async () => {
    const one = piece('sc', 41, { soft: false });
    let looks = 0;
    const toGray = (p: Point) => {
      looks++;
      return p;
    };
    await rowsOf({ ...one, cloth: { ...one.cloth, toGray } });
    const once = looks;
    looks = 0;
    const bare: GrayImage = { ...one.cloth.gray, data: one.cloth.gray.data.map(() => 0.5) };
    const unread = await rowsOf({ ...one, cloth: { ...one.cloth, gray: bare, toGray } });
    expect(looks).toBeGreaterThanOrEqual(3 * once);
    expect(unread === null || unread.standardUncertainty > 0.5).toBe(true);
  });
});
