import { FAMILIAR } from './agreeOnLattice.ts';
import type { LatticeFit } from './fitLattice.ts';
import { type Consensus, isUnanimous } from './lattice/compareLooks.ts';
import { familiarity } from './stitchAspects.ts';

/** Whether another reading has half or twice the rows, or stitches: the commonest way to be wrong. */
export function isOctave({ stitchFactor, rowFactor }: { stitchFactor: number; rowFactor: number }): boolean {
  const [less, more] = [stitchFactor, rowFactor].map((f) => Math.abs(Math.log2(f))).sort((a, b) => a - b);
  return less < 0.15 && Math.abs(more - 1) < 0.15;
}

/**
 * The rivals of a lattice that are still open. Where all looks agree and the fabric is known, one that is neither half
 * nor twice means nothing: of generated photos, eight readings were disputed by nothing else, and the six whose fabric
 * was known were right.
 */
export function openRivals(
  { rivals, looksLike }: Pick<LatticeFit, 'rivals' | 'looksLike'>,
  consensus: Consensus | null,
): LatticeFit['rivals'] {
  const settled = isUnanimous(consensus) && familiarity(looksLike) >= FAMILIAR;
  return settled ? rivals.filter(isOctave) : rivals;
}
