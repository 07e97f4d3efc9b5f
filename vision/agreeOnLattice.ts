import type { LatticeFit } from './fitLattice.ts';
import { meanPitches } from './gauge.ts';
import { compareLooks, type Consensus } from './lattice/compareLooks.ts';
import { type Look, LOOKS, type Sighting } from './lattice/lookAgain.ts';
import { trustedCentre } from './lattice/trustedCentre.ts';
import { familiarity } from './stitchAspects.ts';

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

/** Below this no look is spared. */
const FAIR_STRENGTH = 0.3;

/** From here on a lattice stands out. */
export const CLEAR_STRENGTH = 0.4;

/** Below this it is open what the fabric is, and with it how many rows a ridge is: no look is spared either. */
const FAMILIAR = 0.65;

/**
 * As many looks are enough where none of them disagrees. In 112 photos of made and real cloth, no further look
 * disputed what stood out and two had confirmed (57); three times one disputed what stood out less and two had
 * confirmed, each time the third look, and rightly.
 */
function looksEnoughFor(lattice: LatticeFit, named: boolean): number {
  if (!named && familiarity(lattice.looksLike) < FAMILIAR) return LOOKS.length;
  const strength = strengthOf(lattice);
  return strength >= CLEAR_STRENGTH ? 2 : strength >= FAIR_STRENGTH ? 3 : LOOKS.length;
}

/**
 * Holds a lattice against other looks at the same cloth. Where it stands alone, what the others agree on is
 * followed instead; where they agree on something else besides, that becomes another way to count. The more
 * a lattice stands out, the fewer looks it takes. A lattice that is weak or alone is also fitted to the cloth read
 * larger and smaller, and the strongest is kept.
 *
 * @param fit fits the lattice anew
 * @param look takes one of the other looks
 * @param options `named`: the maker said which stitch it is
 */
export async function agreeOnLattice(
  first: LatticeFit | null,
  fit: (how: FitAnew) => Promise<LatticeFit | null>,
  look: (one: Look) => Promise<Sighting | null>,
  { named = false }: { named?: boolean } = {},
): Promise<{ lattice: LatticeFit | null; consensus: Consensus | null }> {
  const own = first && sightingOf(first);
  const enough = first ? looksEnoughFor(first, named) : LOOKS.length;
  const sightings: Sighting[] = [];
  for (const one of LOOKS) {
    const sighting = await look(one);
    if (sighting) sightings.push(own && isSurelyGarter(first) ? inRows(sighting, own) : sighting);
    if (own && sightings.length >= enough && compareLooks(own, sightings).support === sightings.length) break;
  }
  let lattice = first;
  let consensus = own && compareLooks(own, sightings);
  const keep = (better: LatticeFit) => {
    lattice = better;
    consensus = compareLooks(sightingOf(better), sightings);
  };
  const other = consensus?.dissent[0];
  if (own && other && other.votes >= 2 && other.votes > consensus!.support + 1) {
    const expected = {
      stitchPitchPx: own.stitchPitchPx * other.stitchFactor,
      rowPitchPx: own.rowPitchPx * other.rowFactor,
    };
    const led = await fit({ expected });
    if (led && agreementOf(led) > 0.7 * agreementOf(first)) keep(led);
  }
  if (consensus?.support === 0 || strengthOf(lattice) < LEAST_STRENGTH) {
    for (const sizeFactor of [0.7, 1.4]) {
      const resized = await fit({ sizeFactor });
      if (resized && strengthOf(resized) > 1.15 * strengthOf(lattice)) keep(resized);
    }
  }
  if (!lattice || !consensus) return { lattice: null, consensus: null };
  return { lattice: { ...lattice, rivals: [...lattice.rivals, ...rivalsOf(consensus)] }, consensus };
}

/** From here on cloth surely is garter: of twelve such readings that looks at ridges disputed none was wrong. */
const SURELY_GARTER = 0.75;

function isSurelyGarter({ looksLike: [likeliest] }: LatticeFit): boolean {
  return likeliest.stitch === 'garter' && likeliest.weight >= SURELY_GARTER;
}

/** A ridge of garter is two rows, and from farther off only ridges are seen: a look that counts them agrees. */
function inRows(sighting: Sighting, own: Sighting): Sighting {
  const isRidge = Math.abs(Math.log2(sighting.rowPitchPx / own.rowPitchPx) - 1) < 0.1;
  return isRidge ? { ...sighting, rowPitchPx: sighting.rowPitchPx / 2 } : sighting;
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
