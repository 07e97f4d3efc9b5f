import { strengthOf } from './agreeOnLattice.ts';
import type { LatticeFit } from './fitLattice.ts';
import { trustedCentre } from './lattice/trustedCentre.ts';
import type { StitchKey } from './types.ts';

/** A second reading of cloth whose rows were first read as upright: level, as another fabric. */
export interface LevelReading {
  lattice: LatticeFit;
  /** What the cloth had to be taken for. */
  readAs: StitchKey;
}

const CROCHET: readonly StitchKey[] = ['sc', 'hdc', 'herringbone-hdc', 'dc', 'post-rib', 'moss', 'blo-rib'];
const isCrochet = (stitch: StitchKey) => CROCHET.includes(stitch);

/** What each craft's cloth is taken for when it is seen as the other's; the first for crochet. */
const OTHERWISE: readonly StitchKey[] = ['rib-1x1', 'hdc'];

/** Rows closer to the vertical than this are upright, degrees. */
const UPRIGHT_DEG = 35;

/** What looks this surely like one fabric is that fabric, upright or not. */
const SURE_OF_FABRIC = 0.85;

/** A level reading that stands out less than this share of the upright one is none. */
const LEAST_SHARE = 0.75;

/**
 * Looks at cloth whose rows seem to run upright as if it were another fabric, the other craft's first, and returns
 * what is seen level then.
 *
 * Crochet whose tops lie as chains along furrows looks like knitted rib lying on its side, and the other way round;
 * the reader tells them apart badly. What truly runs upright is read upright whatever it is taken for. Most makers
 * photograph their rows level (common practice), so that of two readings the level one is the likelier.
 *
 * @param upright a lattice fitted without a named stitch
 * @param fitAs fits the lattice again as if the maker had named this stitch
 * @returns null when the rows are not upright, the fabric is beyond doubt, or nothing is read level
 */
export async function levelInstead(
  upright: LatticeFit | null,
  fitAs: (stitch: StitchKey) => Promise<LatticeFit | null>,
): Promise<LevelReading | null> {
  if (!upright || !isUpright(upright) || upright.looksLike[0].weight >= SURE_OF_FABRIC) return null;
  for (const readAs of isCrochet(upright.looksLike[0].stitch) ? OTHERWISE : [...OTHERWISE].reverse()) {
    const level = await fitAs(readAs);
    if (!level || isUpright(level) || strengthOf(level) < LEAST_SHARE * strengthOf(upright)) continue;
    const looksLike = upright.looksLike.filter(({ stitch }) => isCrochet(stitch) === isCrochet(readAs));
    const total = looksLike.reduce((sum, { weight }) => sum + weight, 0);
    const shares = looksLike.map(({ stitch, weight }) => ({ stitch, weight: weight / total }));
    return { readAs, lattice: { ...level, looksLike: shares } };
  }
  return null;
}

function isUpright(lattice: LatticeFit): boolean {
  const centre = trustedCentre(lattice);
  const { stitchAngleDeg } = lattice.cellAt(centre.x, centre.y);
  return Math.abs(Math.cos((stitchAngleDeg * Math.PI) / 180)) < Math.sin((UPRIGHT_DEG * Math.PI) / 180);
}
