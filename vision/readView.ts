import {
  agreementOf,
  agreeOnLattice,
  CLEAR_AGREEMENT,
  CLEAR_STRENGTH,
  LEAST_AGREEMENT,
  strengthOf,
} from './agreeOnLattice.ts';
import { expectedFrom, factorToCount } from './countCorrections.ts';
import { asExpected } from './expectedGauge.ts';
import type { Fabric } from './findFabric.ts';
import { fitLattice, type LatticeFit, withFactors } from './fitLattice.ts';
import { meanPitches } from './gauge.ts';
import { type Consensus, isBacked, isUnanimous, standsAlone } from './lattice/compareLooks.ts';
import { type Look, lookAgain } from './lattice/lookAgain.ts';
import { type OctaveOdds, weighOctaves } from './lattice/weighOctaves.ts';
import { levelInstead } from './levelInstead.ts';
import type { CountCorrection, MeasureOptions } from './measurement.ts';
import { LIKELIER, settleOctaves, SURELY_OTHERWISE } from './settleOctaves.ts';
import { countingsFor } from './stitchAspects.ts';
import type { Point, StitchKey } from './types.ts';
import { asUsualFabrics } from './usualFabrics.ts';
import { asPlanned, type Pitches } from './plannedGauge.ts';
import { pitchesOf, readAsPlanned } from './readAsPlanned.ts';
import type { ClothView } from './viewCloth.ts';

/** How the cloth in a view is fitted: near what the maker counted, at another size, as another stitch than hers. */
interface FitView {
  expected?: ReturnType<typeof expectedFrom>;
  sizeFactor?: number;
  /** About how big the stitches are, px; as they were first seen when left out. */
  size?: Pitches;
  readAs?: StitchKey;
}

/** What one view of the cloth gives: its lattice, and what speaks for and against it. */
export interface Reading {
  lattice: LatticeFit | null;
  /** What other looks say; null where the maker counted, and where no other look was needed. */
  consensus: Consensus | null;
  /** What the octave check says; null where the maker counted. */
  octaves: OctaveOdds | null;
  /** What the maker counted ÷ what was read; both 1 where she did not. */
  countFactor: { stitch: number; row: number };
}

const AS_READ = { stitch: 1, row: 1 } as const;

/**
 * From here on the octave check leaves nothing to ask of other looks, where the lattice stands out, too. Of 973 readings of
 * development photos that were given this much 21 were off by more than a tenth (of the other 207, 72); looks had put none
 * of 302 right of which an earlier check was as sure.
 */
const BEYOND_LOOKS = 0.95;

/** Reads the cloth in one view, led by what the maker counted; else held against the octave check and other looks. */
export async function readView(
  { seen }: ClothView,
  fabric: Fabric,
  { stitch, corrections: marked = [], expectedStitchesPer10cm, plannedGauge }: MeasureOptions,
  toDecodedPx: (p: Point) => Point,
): Promise<Reading> {
  const { allowed } = seen;
  const fit = ({ expected, sizeFactor = 1, size = fabric, readAs = stitch }: FitView = {}) => {
    const { stitchPitchPx, rowPitchPx } = size;
    const sized = { stitchPitchPx: sizeFactor * stitchPitchPx, rowPitchPx: sizeFactor * rowPitchPx };
    return fitLattice(seen.gray, { ...fabric, ...sized }, { allowed, stitch: readAs, expected });
  };
  if (marked.length > 0) {
    const toFlat = (p: Point) => seen.toRectified(toDecodedPx(p));
    const corrections = marked.map((c): CountCorrection => {
      const [from, to] = c.pointsPx;
      return { ...c, pointsPx: [toFlat(from), toFlat(to)] };
    });
    const led = await fit({ expected: expectedFrom(corrections) });
    // Where the maker's pitch leads to no clear wave, the clear one is followed and counted as she counts.
    const unled = agreementOf(led) < CLEAR_AGREEMENT ? await fit() : null;
    const lattice = agreementOf(unled) > agreementOf(led) ? unled : led;
    const countFactor = lattice ? factorToCount(lattice, corrections) : AS_READ;
    return {
      lattice: lattice && withFactors(lattice, countFactor),
      consensus: null,
      octaves: null,
      countFactor,
    };
  }
  const withYarn = (one: LatticeFit, odds: OctaveOdds): OctaveOdds =>
    expectedStitchesPer10cm && seen.pxPerMm
      ? asExpected(odds, (100 * seen.pxPerMm) / meanPitches(one).stitch.pitchPx, expectedStitchesPer10cm)
      : odds;
  // Other looks change what is said of a lattice, not where it lies: then it has been weighed already.
  const known = new Map<LatticeFit['cellAt'], OctaveOdds>();
  const weighAlone = async (one: LatticeFit) => {
    const seenSo = known.get(one.cellAt);
    if (seenSo) return seenSo;
    const odds = withYarn(one, await weighOctaves(seen.gray, one, stitch));
    const asMade = stitch ? odds : asUsualFabrics(odds, one.looksLike);
    known.set(one.cellAt, asMade);
    return asMade;
  };
  const weigh = async (one: LatticeFit) => {
    const odds = await weighAlone(one);
    if (!plannedGauge) return odds;
    return asPlanned(odds, pitchesOf(one), plannedGauge, seen.pxPerMm);
  };
  const settle = async (lattice: LatticeFit | null, consensus: Consensus | null): Promise<Reading> => {
    if (!lattice) return { lattice, consensus, octaves: null, countFactor: AS_READ };
    const settled = await settleOctaves(asUsual(lattice, consensus, stitch), consensus, weigh);
    return { ...settled, countFactor: AS_READ };
  };
  // Where looks led away to what is likelier wrong, and the first reading surely is right, that stands: so it was in three
  // of 868 development photos, rightly each time.
  const beforeLooks = async (one: LatticeFit, { octaves: now }: Reading): Promise<Reading | null> => {
    if (!now || now.ways[0].weight >= LIKELIER) return null;
    const lattice = asUsual(one, null, stitch);
    const octaves = await weigh(lattice);
    return octaves.ways[0].weight >= SURELY_OTHERWISE
      ? { lattice, consensus: null, octaves, countFactor: AS_READ }
      : null;
  };
  const readAlone = async (): Promise<Reading> => {
    const first = await fit();
    const level = stitch ? null : await levelInstead(first, (readAs) => fit({ readAs }));
    if (first && !level && strengthOf(first) >= CLEAR_STRENGTH) {
      const octaves = await weigh(first);
      if (octaves.ways[0].weight >= BEYOND_LOOKS) {
        return { lattice: first, consensus: null, octaves, countFactor: AS_READ };
      }
    }
    const agree = (one: LatticeFit | null, readAs: StitchKey | undefined) =>
      agreeOnLattice(
        one,
        (how) => fit({ ...how, readAs }),
        (look: Look) => lookAgain(seen.gray, fabric, look, { allowed, stitch: readAs }),
        { named: stitch !== undefined },
      );
    if (first && level) {
      const agreed = await agree(level.lattice, level.readAs);
      if (agreed.lattice && isBacked(agreed.consensus)) {
        return settle(withRival(agreed.lattice, first), agreed.consensus);
      }
    }
    const agreed = await agree(first, stitch);
    const own = agreed.lattice && level ? withRival(agreed.lattice, level.lattice) : agreed.lattice;
    const settled = await settle(own, agreed.consensus);
    return (first && (await beforeLooks(first, settled))) ?? settled;
  };
  const alone = await readAlone();
  if (!plannedGauge) return alone;
  const { lattice, octaves } = alone;
  const planned = await readAsPlanned(lattice && octaves && { lattice, octaves }, {
    planned: plannedGauge,
    pxPerMm: seen.pxPerMm,
    fit: (near, sizeFactor) => fit({ expected: near, size: near, sizeFactor }),
    weigh: weighAlone,
  });
  return planned ? { ...planned, consensus: null, countFactor: AS_READ } : alone;
}

/** The lattice counted as is usual for its fabric: garter read ridge by ridge has two rows to each. */
function asUsual(
  lattice: LatticeFit,
  consensus: Consensus | null,
  stitch: StitchKey | undefined,
): LatticeFit {
  const mean = meanPitches(lattice);
  const fabrics = stitch ? [{ stitch, weight: 1 }] : lattice.looksLike;
  const [counting] = countingsFor(fabrics, mean.row.pitchPx / mean.stitch.pitchPx, {
    named: stitch !== undefined,
    confirmed: isUnanimous(consensus),
  });
  return withFactors(lattice, counting);
}

/** The lattice with another one of the same cloth as a way to count that is about as likely. */
function withRival(lattice: LatticeFit, other: LatticeFit): LatticeFit {
  const [own, its] = [meanPitches(lattice), meanPitches(other)];
  const stitchFactor = its.stitch.pitchPx / own.stitch.pitchPx;
  const rowFactor = its.row.pitchPx / own.row.pitchPx;
  return { ...lattice, rivals: [...lattice.rivals, { stitchFactor, rowFactor, weight: 0.7 }] };
}

/** Whether the lattice holds over some of the cloth at least, and not by itself alone. */
export function isFollowed({ lattice, consensus }: Reading): boolean {
  return agreementOf(lattice) >= LEAST_AGREEMENT && !standsAlone(consensus);
}
