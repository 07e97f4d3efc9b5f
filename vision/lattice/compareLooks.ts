import type { Sighting } from './lookAgain.ts';

/** What the other looks at the same cloth say of a reading. */
export interface Consensus {
  /** How many of the other looks agree with it on both axes, and how many there were. */
  support: number;
  looks: number;
  /** What other looks agree on among themselves instead, most votes first; factors on the reading's pitches. */
  dissent: { stitchFactor: number; rowFactor: number; votes: number }[];
}

/** Whether no other look at the cloth agrees with the reading. */
export function standsAlone(consensus: Consensus | null): boolean {
  return consensus !== null && consensus.looks >= 3 && consensus.support === 0;
}

/** Whether most of the other looks at the cloth agree with the reading. */
export function isBacked(consensus: Consensus | null): boolean {
  return consensus !== null && consensus.support > consensus.looks / 2;
}

/** Whether all other looks at the cloth agree with the reading. */
export function isUnanimous(consensus: Consensus | null): boolean {
  return consensus !== null && consensus.support === consensus.looks;
}

/** ln of the largest ratio of pitches that still counts as the same reading: about half a stitch in six. */
const SAME = 0.085;

/**
 * Compares a reading with other looks at the same cloth.
 *
 * @example
 * compareLooks({ stitchPitchPx: 20, rowPitchPx: 15, rowDirectionDeg: 0 }, sightings).support; // of 4
 */
export function compareLooks(reading: Sighting, sightings: readonly Sighting[]): Consensus {
  const same = (a: Sighting, b: Sighting) =>
    Math.abs(Math.log(a.stitchPitchPx / b.stitchPitchPx)) < SAME &&
    Math.abs(Math.log(a.rowPitchPx / b.rowPitchPx)) < SAME &&
    Math.abs(((a.rowDirectionDeg - b.rowDirectionDeg + 270) % 180) - 90) < 30;
  const others = sightings.filter((one) => !same(one, reading));
  const dissent = others
    .map((one) => {
      const fellows = others.filter((other) => same(one, other));
      const mean = (value: (s: Sighting) => number) =>
        Math.exp(fellows.reduce((sum, s) => sum + Math.log(value(s)), 0) / fellows.length);
      return {
        stitchFactor: mean((s) => s.stitchPitchPx) / reading.stitchPitchPx,
        rowFactor: mean((s) => s.rowPitchPx) / reading.rowPitchPx,
        votes: fellows.length,
      };
    })
    .sort((a, b) => b.votes - a.votes)
    .filter(
      (one, i, all) =>
        all.findIndex((other) => Math.abs(Math.log(other.stitchFactor / one.stitchFactor)) < SAME) === i ||
        all.findIndex((other) => Math.abs(Math.log(other.rowFactor / one.rowFactor)) < SAME) === i,
    );
  return { support: sightings.length - others.length, looks: sightings.length, dissent };
}
