import type { OctaveOdds } from './weighOctaves.ts';

/**
 * The odds where some ways to count are so many times as likely as was thought; as read stays first.
 *
 * @param times at least 0, for each way; another lattice altogether stays as likely as it was
 * @example
 * reweighOdds(odds, ({ stitch }) => (stitch === 2 ? 0.2 : 1)); // twice the stitches are seldom meant
 */
export function reweighOdds(
  odds: OctaveOdds,
  times: (way: { stitch: number; row: number }) => number,
): OctaveOdds {
  const ways = odds.ways.map((way) => ({ ...way, weight: times(way) * way.weight }));
  const total = ways.reduce((sum, { weight }) => sum + weight, odds.other);
  const [asRead, ...others] = ways.map((way) => ({ ...way, weight: way.weight / total }));
  return {
    ...odds,
    ways: [asRead, ...others.sort((a, b) => b.weight - a.weight)],
    other: odds.other / total,
  };
}
