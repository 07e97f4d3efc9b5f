import type { LatticeFit } from './fitLattice.ts';
import { meanPitches } from './gauge.ts';
import { compareLooks, type Consensus } from './lattice/compareLooks.ts';
import { LOOKS, type Sighting } from './lattice/lookAgain.ts';
import { trustedCentre } from './lattice/trustedCentre.ts';

/** The smaller of the shares of the cloth over which rows and stitches could be followed; 0 without a lattice. */
export function agreementOf(lattice: LatticeFit | null): number {
  return lattice ? Math.min(lattice.quality.stitchAgreement, lattice.quality.rowAgreement) : 0;
}

/** Below this share of the cloth nothing was followed. */
export const LEAST_AGREEMENT = 0.3;
/** Below this share only part of the cloth was followed. */
export const CLEAR_AGREEMENT = 0.65;

/** How strongly a lattice stands out: where it could be followed, times how clear its waves are there; 0…1. */
export function strengthOf(lattice: LatticeFit | null): number {
  if (!lattice) return 0;
  const { stitchAmplitude, rowAmplitude } = lattice.quality;
  return agreementOf(lattice) * Math.min(1, stitchAmplitude, rowAmplitude);
}

/** How to fit the lattice anew: near these pitches, or read at this many times the size. */
export interface FitAnew {
  expected?: { stitchPitchPx: number; rowPitchPx: number };
  sizeFactor?: number;
}

/** Below this a lattice is weak, and the cloth is read at other sizes, too. */
export const LEAST_STRENGTH = 0.25;

/** From here on a lattice stands out: of 57 such that two looks agreed with, none was disputed by two more. */
export const CLEAR_STRENGTH = 0.4;

/**
 * Holds a lattice against other looks at the same cloth. Where it stands alone, what the others agree on is
 * followed instead; where they agree on something else besides, that becomes another way to count. What stands
 * out clearly and is confirmed at once needs no further looks. A lattice that is weak or alone is also fitted to the cloth read larger and smaller, and the strongest is kept.
 *
 * @param fit fits the lattice anew
 * @param look takes the first of the other looks, or the further ones
 */
export async function agreeOnLattice(
  first: LatticeFit | null,
  fit: (how: FitAnew) => Promise<LatticeFit | null>,
  look: (which: keyof typeof LOOKS) => Promise<Sighting[]>,
): Promise<{ lattice: LatticeFit | null; consensus: Consensus | null }> {
  const sightings = await look('first');
  const compared = (lattice: LatticeFit) => compareLooks(sightingOf(lattice), sightings);
  const isConfirmed = (lattice: LatticeFit) => {
    const { support, looks } = compared(lattice);
    return strengthOf(lattice) >= CLEAR_STRENGTH && looks === LOOKS.first.length && support === looks;
  };
  if (!first || !isConfirmed(first)) sightings.push(...(await look('further')));
  let lattice = first;
  let consensus = first && compared(first);
  const other = consensus?.dissent[0];
  if (first && other && other.votes >= 2 && other.votes > consensus!.support + 1) {
    const own = sightingOf(first);
    const expected = {
      stitchPitchPx: own.stitchPitchPx * other.stitchFactor,
      rowPitchPx: own.rowPitchPx * other.rowFactor,
    };
    const led = await fit({ expected });
    if (led && agreementOf(led) > 0.7 * agreementOf(first)) lattice = led;
  }
  const alone = lattice !== null && compared(lattice).support === 0;
  if (alone || strengthOf(lattice) < LEAST_STRENGTH) {
    for (const sizeFactor of [0.7, 1.4]) {
      const resized = await fit({ sizeFactor });
      if (resized && strengthOf(resized) > 1.15 * strengthOf(lattice)) lattice = resized;
    }
  }
  if (!lattice) return { lattice, consensus: null };
  consensus = compared(lattice);
  return { lattice: { ...lattice, rivals: [...lattice.rivals, ...rivalsOf(consensus)] }, consensus };
}

/** The fitted lattice as one look at the cloth among others. */
function sightingOf(lattice: LatticeFit): Sighting {
  const mean = meanPitches(lattice);
  const centre = trustedCentre(lattice);
  const cell = lattice.cellAt(centre.x, centre.y);
  return {
    stitchPitchPx: mean.stitch.pitchPx,
    rowPitchPx: mean.row.pitchPx,
    rowDirectionDeg: cell.stitchAngleDeg,
  };
}

/** What other looks agree on, as other ways to count; a single stray look is none. */
function rivalsOf({ support, dissent }: Consensus): LatticeFit['rivals'] {
  return dissent
    .filter((one) => one.votes >= 2)
    .map(({ stitchFactor, rowFactor, votes }) => ({
      stitchFactor,
      rowFactor,
      weight: votes / (support + votes + 1),
    }));
}
