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

/** What the stitches say of their own pieces, as `stitchChanges` does, by how much of the piece was read. */
const STITCHES_ALONG = 0.012;
const ROWS_ALONG = 0.006;
const ROWS_ACROSS = 0.02;
/** A hand that loosens works wider stitches and other rows: so much of one change is one of the other. */
const DRIFT_OF_ROWS = 0.5;
/** How likely rows are rows, where that is plain and where it is not, as of 31 development photos of whole pieces. */
const RIGHT_WAY = { plain: 0.96, doubtful: 0.6 };
/** What was hardly read is so much less certain. */
const DOUBTFUL = 1.5;

/**
 * What is believed of a piece's sides, and of its stitches where they were read: which of its sides are the ends of its rows
 * then follows from the way that the rows run.
 *
 * @param endShare standard uncertainty of where a side is, as a share of the piece's size
 */
export function sidesBelief(endShare: number, rows: RowsSeen | null = null): LooksBelief[] {
  const sd = (v: number): number => Math.hypot(v, 1.5 * endShare);
  const right = rows ? (rows.isPlain ? RIGHT_WAY.plain : RIGHT_WAY.doubtful) : 0.5;
  const ways = rows
    ? [
        { alongWidth: rows.alongWidth, isRight: true, share: right },
        { alongWidth: !rows.alongWidth, isRight: false, share: 1 - right },
      ]
    : [
        { alongWidth: true, isRight: true, share: 0.5 },
        { alongWidth: false, isRight: true, share: 0.5 },
      ];
  return ways.flatMap(({ alongWidth, isRight, share }) =>
    [
      { drift: EVEN, of: STEADY_SHARE },
      { drift: DRIFTED, of: 1 - STEADY_SHARE },
    ].flatMap(({ drift, of }) => {
      const sides = alongWidth ? [sd(drift), sd(EVEN)] : [sd(EVEN), sd(drift)];
      const stitches = rows ? stitchesBelief(rows, drift, isRight) : [];
      return [
        { square: SQUARE, odds: SQUARE_SHARE },
        { square: BIASED, odds: 1 - SQUARE_SHARE },
      ].map(({ square, odds }) => ({ sd: [...sides, sd(square), ...stitches], share: share * of * odds }));
    }),
  );
}

/** How the rows of a piece run, and how much of it was read along and across them (`stitchChanges`). */
export interface RowsSeen {
  alongWidth: boolean;
  isPlain: boolean;
  seen: readonly [along: number, across: number];
}

/** Standard deviations of `stitchesAlong`, `rowsAlong` and `rowsAcross`; what was taken for rows may be columns. */
function stitchesBelief(
  { isPlain, seen: [along, across] }: RowsSeen,
  drift: number,
  isRight: boolean,
): number[] {
  // A slope over a part of the piece is carried on to all of it.
  const doubt = isPlain ? 1 : DOUBTFUL;
  const of = (own: number, seen: number): number => doubt * own * seen ** -1.5;
  const rowDrift = DRIFT_OF_ROWS * drift;
  return isRight
    ? [of(STITCHES_ALONG, along), (doubt * ROWS_ALONG) / along, Math.hypot(of(ROWS_ACROSS, across), rowDrift)]
    : [
        Math.hypot(of(ROWS_ACROSS, along), rowDrift),
        Math.hypot((doubt * ROWS_ALONG) / along, drift),
        of(ROWS_ACROSS, across),
      ];
}
