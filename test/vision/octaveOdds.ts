import type { OctaveOdds } from '../../vision/lattice/weighOctaves.ts';

/** Odds of an octave check: so likely as read, then what is given, the rest another lattice. */
export function octaveOdds(
  asRead: number,
  rivals: { stitch: number; row: number; weight: number }[] = [],
  looksLike: OctaveOdds['looksLike'] = [{ stitch: 'sc', weight: 1 }],
): OctaveOdds {
  const all = [0.5, 1, 2].flatMap((stitch) => [0.5, 1, 2].map((row) => ({ stitch, row })));
  const others = all
    .filter(({ stitch, row }) => stitch !== 1 || row !== 1)
    .map((way) => ({
      ...way,
      weight: rivals.find((one) => one.stitch === way.stitch && one.row === way.row)?.weight ?? 0,
    }))
    .sort((a, b) => b.weight - a.weight);
  return {
    ways: [{ stitch: 1, row: 1, weight: asRead }, ...others],
    other: 1 - asRead - rivals.reduce((sum, { weight }) => sum + weight, 0),
    looksLike,
    strain: {
      stitch: { log: 0, standardUncertainty: 0.006 },
      row: { log: 0, standardUncertainty: 0.006 },
    },
  };
}
