import { reweighOdds } from './lattice/reweighOdds.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';
import type { StitchKey } from './types.ts';

/** What both networks take for stockinette at least so surely is stockinette, or a rib drawn quite together. */
const SURELY_STOCKINETTE = 0.7;

/**
 * How many swatches there are of 1×1 rib so closed that only its knit columns show, for one of stockinette: far fewer
 * than in training, where all fabrics were as frequent (common practice; the number is a guess on the careful side).
 */
const CLOSED_RIBS = 0.2;

/**
 * How many swatches there are of doubles or half doubles with furrows between their rows, for one of rib worked into the
 * back loops, of which each ridge is two rows: far more than in training (common practice). With this number what is left
 * is as likely as was found: of 44 development photos taken for such rib by 0.95 to 0.98, six had half the rows.
 */
const FURROWED_ROWS = 6;

/**
 * The odds as they are where fabrics are as frequent as with makers: stockinette is what most knit, and gauge is given in
 * it; rib of which every other column is hidden has twice the stitches that are seen; and hardly anyone means a rib by what
 * looks like rows of crochet.
 *
 * @param looksLike what the reader takes the cloth for
 *
 * @example
 * asUsualFabrics(odds, lattice.looksLike).ways[0].weight; // how likely the lattice counts rightly
 */
export function asUsualFabrics(
  odds: OctaveOdds,
  looksLike: { stitch: StitchKey; weight: number }[],
): OctaveOdds {
  const shareOf = (stitch: StitchKey, looks: typeof looksLike) =>
    looks.find((one) => one.stitch === stitch)?.weight ?? 0;
  const isStockinette = [odds.looksLike, looksLike].every(
    (looks) => shareOf('stockinette', looks) >= SURELY_STOCKINETTE,
  );
  const rib = shareOf('blo-rib', odds.looksLike);
  return reweighOdds(odds, ({ stitch, row }) => {
    if (isStockinette && stitch === 2 && row === 1) return CLOSED_RIBS;
    return stitch === 1 && row === 0.5 ? 1 + rib * (FURROWED_ROWS - 1) : 1;
  });
}
