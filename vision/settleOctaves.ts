import { exchangeAxes } from './exchangeAxes.ts';
import { type LatticeFit, withFactors } from './fitLattice.ts';
import type { Consensus } from './lattice/compareLooks.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';

/** A lattice and what the octave check makes of it. */
export interface SettledLattice {
  lattice: LatticeFit;
  octaves: OctaveOdds;
  /** What other looks say of it; null where they said it of another count than this. */
  consensus: Consensus | null;
}

/**
 * Rib of two and two drawn quite together shows pairs of knit columns, and between these a furrow as wide as one: the
 * reader counts three stitches where there are four. Of 41 development photos of such rib ten were read so. As read, the
 * check gave none of these more than 0.82, and counted rightly, all of nine 0.98; of those read rightly one was given less.
 */
const FOUR_FOR_THREE = { stitch: 4 / 3, row: 1 };
/**
 * What is read in another way altogether must look as right as this. Rows that were taken for columns were given 0.84
 * to 0.99 once the two were exchanged (five development photos of 400), as read none more than 0.06; of 17 other readings
 * that were in doubt none was given more than 0.81 with its axes exchanged, and those were at 0.5 and more as read.
 */
export const SURELY_OTHERWISE = 0.9;
/** What the reader takes for such rib at least so surely is: of 44 with less than this none was, of 40 with more all. */
const SURELY_RIB = 0.9;

/** What is counted otherwise must be likelier right than wrong when it is checked in its turn. */
export const LIKELIER = 0.5;

/**
 * Half or twice the count is followed where the check finds it so many times as likely as what was read, whatever other
 * looks say. Of twelve such readings of 1488 development photos eight were right so and two as read, where the ratio was 3
 * and more; of nine from 1 to 3 three and four.
 */
const SO_MUCH_LIKELIER = 3;

/**
 * Holds a lattice against the octave check, and counts otherwise where that is much likelier, and right when it is checked
 * in its turn. Where it finds another lattice altogether, rows may have been taken for columns of stitches; and closed rib of
 * two and two may be read as of three. That is followed where it then surely looks right.
 *
 * @param weigh asks the check (`weighOctaves`)
 *
 * @example
 * const { lattice, octaves } = await settleOctaves(read, consensus, (one) => weighOctaves(picture, one));
 * octaves.ways[0].weight; // how likely it counts rightly
 */
export async function settleOctaves(
  lattice: LatticeFit,
  consensus: Consensus | null,
  weigh: (lattice: LatticeFit) => Promise<OctaveOdds>,
): Promise<SettledLattice> {
  const octaves = await weigh(lattice);
  const [asRead, rival] = octaves.ways;
  const otherwise = [
    ...(asRead.weight < SURELY_OTHERWISE && isRib(lattice) ? [withFactors(lattice, FOUR_FOR_THREE)] : []),
    ...(octaves.other > LIKELIER ? [exchangeAxes(lattice)] : []),
  ];
  for (const one of otherwise) {
    const odds = await weigh(one);
    if (odds.ways[0].weight >= SURELY_OTHERWISE)
      return { lattice: takenFor(one, odds), octaves: odds, consensus: null };
  }
  if (rival.weight < SO_MUCH_LIKELIER * asRead.weight) return { lattice, octaves, consensus };
  const other = withFactors(lattice, rival);
  const again = await weigh(other);
  return again.ways[0].weight > LIKELIER
    ? { lattice: takenFor(other, again), octaves: noSurerThan(rival.weight, again), consensus }
    : { lattice, octaves, consensus };
}

/** What is counted as the check says is taken for what the check sees in it, too. */
const takenFor = (lattice: LatticeFit, { looksLike }: OctaveOdds): LatticeFit => ({ ...lattice, looksLike });

/** Of several ways to count the likeliest looks likelier than it is: it counts as what it was given at first, at most. */
function noSurerThan(most: number, odds: OctaveOdds): OctaveOdds {
  const [asRead, ...others] = odds.ways;
  if (asRead.weight <= most) return odds;
  const left = (1 - most) / (1 - asRead.weight);
  return {
    ...odds,
    ways: [{ ...asRead, weight: most }, ...others.map((way) => ({ ...way, weight: left * way.weight }))],
    other: left * odds.other,
  };
}

const isRib = ({ looksLike }: LatticeFit): boolean =>
  looksLike.some(({ stitch, weight }) => stitch === 'rib-2x2' && weight >= SURELY_RIB);
