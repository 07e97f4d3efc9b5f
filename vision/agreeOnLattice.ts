import type { LatticeFit } from './fitLattice.ts';
import { meanPitches } from './gauge.ts';
import { compareLooks, type Consensus } from './lattice/compareLooks.ts';
import type { Sighting } from './lattice/lookAgain.ts';
import { trustedCentre } from './lattice/trustedCentre.ts';

/** The smaller of the shares of the cloth over which rows and stitches could be followed; 0 without a lattice. */
export function agreementOf(lattice: LatticeFit | null): number {
  return lattice ? Math.min(lattice.quality.stitchAgreement, lattice.quality.rowAgreement) : 0;
}

/**
 * Holds a lattice against other looks at the same cloth. Where it stands alone, what the others agree on is
 * followed instead; where they agree on something else besides, that becomes another way to count.
 *
 * @param fit fits the lattice anew near the pitches it is given
 * @param look the other looks
 */
export async function agreeOnLattice(
  first: LatticeFit,
  fit: (expected: { stitchPitchPx: number; rowPitchPx: number }) => Promise<LatticeFit | null>,
  look: () => Promise<Sighting[]>,
): Promise<{ lattice: LatticeFit; consensus: Consensus }> {
  const sightings = await look();
  const own = sightingOf(first);
  let lattice = first;
  let consensus = compareLooks(own, sightings);
  const [other] = consensus.dissent;
  if (other && other.votes >= 2 && other.votes > consensus.support + 1) {
    const led = await fit({
      stitchPitchPx: own.stitchPitchPx * other.stitchFactor,
      rowPitchPx: own.rowPitchPx * other.rowFactor,
    });
    if (led && agreementOf(led) > 0.7 * agreementOf(first)) {
      lattice = led;
      consensus = compareLooks(sightingOf(led), sightings);
    }
  }
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
