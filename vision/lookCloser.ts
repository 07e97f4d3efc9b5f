/** What the reader sees of a small square of the picture. Pitches in picture pixels. */
export interface CloserLook {
  stitchPitchPx: number;
  rowPitchPx: number;
  /** Share of the square that is readable cloth, the less the less sure its pitches are. */
  evidence: number;
}

/**
 * At so many times the size at which the stitches found would read best, true stitches are a blur of yarn: no cloth was
 * seen in any of 37 photos of real cloth at the larger, and in 2 of 35 generated.
 */
const TIMES = [5.4, 3.8] as const;

/** From this much readable cloth on there is something finer to be seen. */
const SOME_CLOTH = 0.15;
/** Finer means no more than this share of the pitch: halves of stitches and single strands are not meant. */
const MUCH_FINER = 0.6;
/** Stitches are as large at either size; what only looks like stitches shrinks with the look (two dc's legs: by 0.15 and more). */
const SAME = 0.12;

/**
 * Looks for finer stitches within those found: from afar, the blocks of colour of a fine fabric look like the stitches of a
 * coarse one. Found is what two closer looks see alike.
 *
 * @param found the pitches found from afar
 * @param look reads the middle of the cloth at so many times the size at which the stitches found read best
 * @returns the finer pitches, picture pixels; null when there are none, which the first look tells as a rule
 *
 * @example
 * await lookCloser({ stitchPitchPx: 60, rowPitchPx: 30 }, (times) => lookAtMiddle(times));
 */
export async function lookCloser(
  found: Omit<CloserLook, 'evidence'>,
  look: (times: number) => Promise<CloserLook>,
): Promise<CloserLook | null> {
  const seen: CloserLook[] = [];
  for (const times of TIMES) {
    const one = await look(times);
    const finer = Math.sqrt((one.stitchPitchPx * one.rowPitchPx) / (found.stitchPitchPx * found.rowPitchPx));
    if (!(one.evidence >= SOME_CLOTH && finer < MUCH_FINER)) return null;
    seen.push(one);
  }
  const [a, b] = seen;
  const apart = (p: number, q: number) => Math.abs(Math.log(p / q));
  const alike = apart(a.stitchPitchPx, b.stitchPitchPx) < SAME && apart(a.rowPitchPx, b.rowPitchPx) < SAME;
  if (!alike) return null;
  return a.evidence > b.evidence ? a : b;
}
