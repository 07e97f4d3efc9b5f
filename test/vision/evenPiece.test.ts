import { describe, expect, it } from 'vitest';
import { sidesBelief } from '../../vision/piece/evenPiece.ts';

/** How likely it is that a pair of sides is as long as each other: 0 = the widths, 1 = the heights. */
const even = (beliefs: ReturnType<typeof sidesBelief>, pair: 0 | 1): number =>
  beliefs.reduce((sum, { sd, share }) => sum + (sd[pair]! < 0.02 ? share : 0), 0);

describe('what is believed of the sides of a piece', () => {
  it('is the same of both pairs where the rows were not seen', () => {
    const beliefs = sidesBelief(0.002);
    expect(beliefs.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    expect(even(beliefs, 0)).toBeCloseTo(0.75, 9);
    expect(even(beliefs, 1)).toBeCloseTo(0.75, 9);
    expect(beliefs[0]!.sd).toHaveLength(3);
  });

  it('follows from the way that the rows run: the ends of rows are as long as each other', () => {
    const seen = [0.9, 0.9] as const;
    const along = sidesBelief(0.002, { alongWidth: true, isPlain: true, seen });
    expect(along.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    expect(even(along, 1)).toBeGreaterThan(0.95);
    expect(even(along, 0)).toBeLessThan(0.55);
    expect(even(sidesBelief(0.002, { alongWidth: false, isPlain: true, seen }), 0)).toBeGreaterThan(0.95);
    // columns may have passed for rows
    expect(even(sidesBelief(0.002, { alongWidth: true, isPlain: false, seen }), 1)).toBeLessThan(0.85);
    expect(along[0]!.sd).toHaveLength(6);
  });

  it('is less of how stitches change where few of them were read', () => {
    const of = (seen: number) =>
      sidesBelief(0.002, { alongWidth: true, isPlain: true, seen: [seen, seen] })[0]!.sd.slice(3);
    of(0.3).forEach((sd, i) => expect(sd).toBeGreaterThan(2 * of(0.9)[i]!));
  });
});
