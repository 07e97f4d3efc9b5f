import { agreementOf, CLEAR_AGREEMENT } from './agreeOnLattice.ts';
import { exchangeAxes } from './exchangeAxes.ts';
import { type LatticeFit, withFactors } from './fitLattice.ts';
import { meanPitches } from './gauge.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';
import { likelyAsPlanned, OTHER, type Pitches, type PlannedGauge, plannedPitches } from './plannedGauge.ts';
import { LIKELIER } from './settleOctaves.ts';

/** A lattice, and what the octave check makes of it. */
interface Weighed {
  lattice: LatticeFit;
  octaves: OctaveOdds;
}

export interface PlannedReading {
  planned: PlannedGauge;
  /** Null where no scale is known. */
  pxPerMm: number | null;
  /** Fits the lattice anew near these pitches, to the cloth read at so many times the size that the pitches ask for. */
  fit(near: Pitches, sizeFactor: number): Promise<LatticeFit | null>;
  /** Asks the octave check, the plan left out. */
  weigh(lattice: LatticeFit): Promise<OctaveOdds>;
}

/**
 * How right a lattice has to look to the octave check. Of what truly looks like another fabric, moss on its side above all,
 * the check is surely wrong: where the same waves only have to be counted otherwise in one way, the plan outweighs it. Some of
 * all ways at once come near to any plan. New waves lie where they were looked for, so they have to look right by themselves.
 */
const LEAST_RIGHT = { oneWay: 0.01, manyWays: 0.2, newWaves: LIKELIER };

/** What is this likely to be the piece's may be taken instead: up to an eighth off the plan. */
const LIKE = 0.1;

/** So likely, the plan counted in, nothing need be looked at in other ways. */
const CLEAR = 0.82;

/**
 * What lies no farther off the plan, natural logarithm, on either axis and looks right by itself stands: between waves a tenth
 * apart the octave check cannot choose, so that the plan would draw readings towards itself.
 */
const NEAR_LOG = 0.2;

/** New waves are true where they are found alike at two sizes, to so much of either pitch. */
const ALIKE = 0.03;

/** A count that is off by so much is put right by doubling or halving. */
const TIMES = [0.5, 1, 2];
/** Rib of two and two that is drawn together shows three columns for four, and two of its flat rows pass for one. */
const RIB_TIMES = [...TIMES, 4 / 3];

/** As the reader likes it, and from nearer and farther: faint waves show at one size and not at another. */
const SIZES = [1, 0.7, 1.4];

/**
 * A lattice that is not as the piece was planned may have its rows taken for columns, be off by two, or be another
 * altogether: its counts and axes are exchanged until they are as planned, and the cloth is read again near the planned
 * pitches. What is both as planned and right by the octave check stands instead.
 *
 * @param read as read without the plan; null where nothing was
 * @returns null where what was read stands
 */
export async function readAsPlanned(
  read: Weighed | null,
  { planned, pxPerMm, fit, weigh }: PlannedReading,
): Promise<Weighed | null> {
  const likely = (lattice: LatticeFit) => likelyAsPlanned(pitchesOf(lattice), planned, pxPerMm);
  const isNear = (lattice: LatticeFit) =>
    pxPerMm !== null && isWithin(Math.exp(NEAR_LOG), pitchesOf(lattice), plannedPitches(planned, pxPerMm));
  if (read && likely(read.lattice) >= LIKE && read.octaves.ways[0].weight >= CLEAR) return null;
  const own = read && (await weigh(read.lattice));
  if (own && own.ways[0].weight >= CLEAR && isNear(read.lattice)) return null;
  const ownScore = own ? own.ways[0].weight * likely(read.lattice) : 0;
  // Besides what was read and what is tried the cloth may lie in ways that nobody thought of.
  const others = ownScore + OTHER * (own ? 1 - own.ways[0].weight : 1);
  let best: (Weighed & { score: number }) | null = null;
  const tryOthers = async (lattices: LatticeFit[], least: number): Promise<void> => {
    for (const lattice of lattices) {
      if (likely(lattice) < LIKE) continue;
      const octaves = await weigh(lattice);
      const right = octaves.ways[0].weight;
      const score = right * likely(lattice);
      if (right >= least && score > Math.max(ownScore, best?.score ?? 0)) best = { lattice, octaves, score };
    }
  };
  const found = (): Weighed | null =>
    best && { lattice: best.lattice, octaves: withOthers(best.octaves, best.score, others) };
  const { oneWay, manyWays } = read ? otherwise(read.lattice) : { oneWay: [], manyWays: [] };
  await tryOthers(oneWay, LEAST_RIGHT.oneWay);
  await tryOthers(manyWays, LEAST_RIGHT.manyWays);
  const seen: LatticeFit[] = [];
  for (const size of pxPerMm === null ? [] : SIZES) {
    if ((found()?.octaves.ways[0].weight ?? 0) >= CLEAR) break;
    const near = await fit(plannedPitches(planned, pxPerMm!), size);
    if (!near || agreementOf(near) < CLEAR_AGREEMENT) continue;
    if (seen.some((one) => isWithin(1 + ALIKE, pitchesOf(one), pitchesOf(near)))) {
      const { oneWay, manyWays } = otherwise(near);
      await tryOthers([near, ...oneWay, ...manyWays], LEAST_RIGHT.newWaves);
    }
    seen.push(near);
  }
  return found();
}

/** The odds where all else that the cloth may be is as likely as `others`, against `score` for what it was read as. */
function withOthers(odds: OctaveOdds, score: number, others: number): OctaveOdds {
  const [asRead, ...ways] = odds.ways;
  const weight = score / (score + others);
  return {
    ...odds,
    ways: [{ ...asRead, weight }, ...ways.map((way) => ({ ...way, weight: 0 }))],
    other: 1 - weight,
  };
}

/** The lattice with one axis halved or doubled or both exchanged; and with several of these at once. */
function otherwise(lattice: LatticeFit): { oneWay: LatticeFit[]; manyWays: LatticeFit[] } {
  const isRib = lattice.looksLike[0]?.stitch === 'rib-2x2';
  const all = [lattice, exchangeAxes(lattice)].flatMap((one) =>
    (isRib ? RIB_TIMES : TIMES).flatMap((stitch) =>
      TIMES.map((row) => ({
        changes: [one !== lattice, stitch !== 1, row !== 1].filter(Boolean).length,
        lattice: withFactors(one, { stitch, row }),
      })),
    ),
  );
  const latticesOf = (is: (changes: number) => boolean) =>
    all.filter(({ changes }) => is(changes)).map((one) => one.lattice);
  return { oneWay: latticesOf((n) => n === 1), manyWays: latticesOf((n) => n > 1) };
}

/** Whether both pitches are within so many times each other. */
function isWithin(times: number, a: Pitches, b: Pitches): boolean {
  const off = (one: number, other: number) => Math.abs(Math.log(one / other));
  return Math.max(off(a.stitchPitchPx, b.stitchPitchPx), off(a.rowPitchPx, b.rowPitchPx)) <= Math.log(times);
}

/** Mean pitches of a lattice, px. */
export function pitchesOf(lattice: LatticeFit): Pitches {
  const { stitch, row } = meanPitches(lattice);
  return { stitchPitchPx: stitch.pitchPx, rowPitchPx: row.pitchPx };
}
