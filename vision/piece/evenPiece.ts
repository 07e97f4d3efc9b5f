import { linearRegression } from 'simple-statistics';
import { pxToMm, type PictureSize } from '../scale/lens.ts';
import { distance } from '../scale/geometry.ts';
import type { Looks, LooksBelief } from '../scale/ruler/heldPlanes.ts';
import type { ChordPx } from './chordUncertainty.ts';

/**
 * How alike opposite sides of a worked piece are. Both ends of its rows have as many rows between them, so that these two
 * sides are as long as each other to half a per cent; first and last row differ where the tension drifted, by 2 to 8 % in
 * every other piece of 84 drawn ones. Which pair is which the outline does not tell. Pieces with a bias lie askew.
 */
const EVEN = 0.006;
const DRIFTED = 0.055;
const STEADY_SHARE = 0.5;
const SQUARE = 0.012;
const BIASED = 0.06;
const SQUARE_SHARE = 0.65;

/**
 * What the outline of a piece says of how the table leans: by how much its width changes over its height, as a share, the
 * same of its height, and how far its directions are from square (sine).
 *
 * @param widths chords at several heights, decoded px, and `heights` the same across
 */
export function sidesAlike(
  widths: readonly ChordPx[],
  heights: readonly ChordPx[],
  size: PictureSize,
): Looks {
  return (by) => {
    const lengths = (chords: readonly ChordPx[]): number[] =>
      chords.map(({ from, to }) => distance(pxToMm(by, from, size), pxToMm(by, to, size)));
    const taper = (chords: readonly ChordPx[]): number => {
      const found = lengths(chords);
      const mean = found.reduce((s, v) => s + v, 0) / found.length;
      return linearRegression(chords.map(({ at }, i) => [at, found[i]!])).m / mean;
    };
    const direction = (chords: readonly ChordPx[]): { x: number; y: number } => {
      let x = 0;
      let y = 0;
      for (const { from, to } of chords) {
        const [a, b] = [pxToMm(by, from, size), pxToMm(by, to, size)];
        x += b.x - a.x;
        y += b.y - a.y;
      }
      const length = Math.hypot(x, y);
      return { x: x / length, y: y / length };
    };
    const [across, down] = [direction(widths), direction(heights)];
    return [taper(widths), taper(heights), across.x * down.x + across.y * down.y];
  };
}

/** @param endShare standard uncertainty of where a side is, as a share of the piece's size */
export function sidesBelief(endShare: number): LooksBelief[] {
  const sd = (v: number): number => Math.hypot(v, 1.5 * endShare);
  return [
    [EVEN, EVEN, STEADY_SHARE],
    [DRIFTED, EVEN, (1 - STEADY_SHARE) / 2],
    [EVEN, DRIFTED, (1 - STEADY_SHARE) / 2],
  ].flatMap(([w, h, share]) => [
    { sd: [sd(w!), sd(h!), sd(SQUARE)], share: share! * SQUARE_SHARE },
    { sd: [sd(w!), sd(h!), sd(BIASED)], share: share! * (1 - SQUARE_SHARE) },
  ]);
}
