import { describe, expect, it } from 'vitest';
import { edgeLengths, wholeCount } from '../../vision/countEdgeToEdge.ts';
import { withFactors, type LatticeFit } from '../../vision/fitLattice.ts';
import { overlayLines } from '../../vision/overlayLines.ts';
import { evenLattice } from './evenLattice.ts';

const open = () => true;

/** Stitches and rows made whole; null where an edge is out of view. */
function countedIn(lattice: LatticeFit, isOpen: (x: number, y: number) => boolean) {
  const { stitches, rows } = edgeLengths(lattice, isOpen);
  return { stitches: stitches && Math.round(stitches.exact), rows: rows && Math.round(rows.exact) };
}

describe('edgeLengths', () => {
  it('counts the stitches and rows of the piece', () => {
    const counted = countedIn(evenLattice(), open);
    expect(counted.stitches).toBe(10);
    expect(counted.rows).toBe(10);
  });

  it.each([
    [7, 23],
    [31, 12],
    [60, 45],
  ])('counts %i stitches and %i rows', (stitches, rows) => {
    const cloth = { left: 40, top: 40, right: 40 + 9 * stitches, bottom: 40 + 7 * rows };
    const counted = countedIn(evenLattice({ stitchPitchPx: 9, rowPitchPx: 7, cloth }), open);
    expect(counted.stitches).toBe(stitches);
    expect(counted.rows).toBe(rows);
  });

  it('says at which phases the first and the last of them end', () => {
    const { stitches, rows } = edgeLengths(evenLattice(), open);
    expect(stitches!.ends[0]).toBeCloseTo(0, 0);
    expect(stitches!.ends[1] - stitches!.ends[0]).toBeCloseTo(stitches!.exact, 6);
    expect(rows!.ends[1]).toBeCloseTo(10, 0);
  });

  it('is less sure half-way between two numbers, where either may be right', () => {
    const near = wholeCount(20.05, 0.3);
    const between = wholeCount(20.48, 0.3);
    expect([near.value, between.value]).toEqual([20, 20]);
    expect(near.high95).toBeLessThan(21);
    expect(between.high95).toBeGreaterThan(21);
    expect([near.orElse, between.orElse]).toEqual([null, 21]);
    expect(wholeCount(19.52, 0.3).orElse).toBe(19);
    // One in twelve is less certain than it seems, which tells where little speaks for either.
    expect(wholeCount(20.4, 0.12).orElse).toBe(21);
    expect(wholeCount(20.2, 0.12).orElse).toBeNull();
    expect(wholeCount(0.6, 0.3).orElse).toBeNull();
  });

  it('does not count toward an edge that lies outside the picture', () => {
    // The photo ends at x = 140; the cloth goes on to 150.
    const counted = countedIn(evenLattice(), (x) => x < 140);
    expect(counted.stitches).toBeNull();
    expect(counted.rows).toBe(10);
  });

  it('does not mind what lies well beyond the edge', () => {
    // The cloth ends at x = 150, a card begins most of a stitch further on.
    expect(countedIn(evenLattice(), (x) => x < 158).stitches).toBe(10);
  });

  it('does not count where the waves were followed over part of the cloth only', () => {
    const counted = countedIn(evenLattice({ quality: { rowAgreement: 0.5 } }), open);
    expect(counted.rows).toBeNull();
    expect(counted.stitches).toBe(10);
  });

  it('does not count across where a ruler lies on the cloth', () => {
    const counted = countedIn(evenLattice(), (_x, y) => y < 70 || y > 76);
    expect(counted.rows).toBeNull();
  });

  it('counts beside a card that hides most of an edge, but not where it leaves hardly any', () => {
    const hidden = (left: number) => (x: number, y: number) => y > 60 || x > left;
    expect(countedIn(evenLattice(), hidden(100)).rows).toBe(10);
    expect(countedIn(evenLattice(), hidden(125)).rows).toBeNull();
  });

  it('does not take a finger that lies across the cloth for its edge', () => {
    const even = evenLattice({ cloth: { left: 50, top: 40, right: 150, bottom: 200 } });
    const under = (from: number, to: number) => ({
      ...even,
      places: even.places.filter(({ y }) => y <= from || y >= to),
      clothAt: (x: number, y: number) => (y > from && y < to ? 0 : even.clothAt(x, y)),
    });
    // three of twenty rows
    expect(countedIn(under(100, 124), open)).toEqual({ stitches: 10, rows: null });
    // what lies over the last rows leaves no more cloth to be seen
    expect(countedIn(under(30, 64), open).rows).toBe(17);
  });

  it('steps over a small hole, but not over a gap between two pieces', () => {
    const even = evenLattice();
    const gap = (from: number, to: number) => ({
      ...even,
      clothAt: (x: number, y: number) => (x > from && x < to ? 0 : even.clothAt(x, y)),
    });
    expect(countedIn(gap(97, 104), open).stitches).toBe(10);
    const pieces = countedIn(gap(90, 130), open).stitches;
    expect(pieces ?? 0).toBeLessThan(10);
  });

  it('takes the count of most rows when an edge is wavy', () => {
    const even = evenLattice({ cloth: { left: 50, top: 40, right: 250, bottom: 200 } });
    const wavy = {
      ...even,
      clothAt: (x: number, y: number) => (x > 250 - 4 * (1 + Math.sin(y / 7)) ? 0 : even.clothAt(x, y)),
    };
    expect(Math.abs(countedIn(wavy, open).stitches! - 20)).toBeLessThanOrEqual(1);
  });

  it('counts twice as many rows when every reading was two', () => {
    const twice = withFactors(evenLattice(), { stitch: 1, row: 2 });
    expect(countedIn(twice, open).rows).toBe(20);
  });
});

describe('overlayLines', () => {
  it('draws one line more than there are rows and stitches', () => {
    const { rowLines, stitchLines } = overlayLines(evenLattice());
    expect(rowLines).toHaveLength(11);
    expect(stitchLines).toHaveLength(11);
  });

  it('draws rows from the bottom and stitches from the left, on the boundaries', () => {
    const { rowLines, stitchLines } = overlayLines(evenLattice());
    expect(rowLines.map((line) => line[0].y)).toEqual([120, 112, 104, 96, 88, 80, 72, 64, 56, 48, 40]);
    expect(stitchLines.map((line) => line[0].x)).toEqual([50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150]);
    for (const line of rowLines) expect(new Set(line.map((p) => p.y)).size).toBe(1);
  });

  it('draws on cloth only', () => {
    const even = evenLattice();
    const holed = {
      ...even,
      clothAt: (x: number, y: number) => (x > 105 && y < 75 ? 0 : even.clothAt(x, y)),
    };
    for (const line of overlayLines(holed).rowLines) {
      for (const p of line) expect(holed.clothAt(p.x, p.y)).toBe(1);
    }
  });

  it('does not paint the picture over when lines would touch', () => {
    const fine = withFactors(evenLattice(), { stitch: 100, row: 1 });
    expect(overlayLines(fine)).toEqual({ rowLines: [], stitchLines: [] });
  });
});
