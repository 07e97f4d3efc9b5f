import { birgeMean } from './birgeMean.ts';
import type { AxisGauge, meanPitches } from './gauge.ts';
import type { LatticeFit } from './fitLattice.ts';
import type { Strain } from './lattice/weighOctaves.ts';

/**
 * How far the phase of a fitted wave slips from one end of the cloth to the other, turns (standard deviation): at an edge,
 * where a row has another height, where a colour ends. Of few rows that is much, of many nothing. With 0.1 to 0.16 what is
 * off by more than 3 % is least, of 552 axes of development photos (21 before, 16 and 17 with it) and in real ones.
 */
const SLIP_TURNS = 0.13;

/**
 * The mean pitches as the lattice and the second network say together, each as it is sure. The network sees by what the
 * lattice is off on the cloth that is laid out on it; where eight rows are in view, it knows that as well as the wave does.
 *
 * @param repeats how many stitches and rows the lattice was followed over
 * @param strain from `weighOctaves`
 *
 * @example
 * withStrain(meanPitches(lattice), lattice.quality.repeats, octaves.strain).row.pitchPx;
 */
export function withStrain(
  mean: ReturnType<typeof meanPitches>,
  repeats: LatticeFit['quality']['repeats'],
  strain: { stitch: Strain; row: Strain },
): ReturnType<typeof meanPitches> {
  return {
    stitch: together(mean.stitch, repeats.stitches, strain.stitch),
    row: together(mean.row, repeats.rows, strain.row),
  };
}

function together(axis: AxisGauge, repeats: number, { log, standardUncertainty }: Strain): AxisGauge {
  const mean = birgeMean(
    { value: 0, standardUncertainty: SLIP_TURNS / Math.max(1, repeats) },
    { value: log, standardUncertainty },
  );
  return {
    // More stitches than the lattice has are narrower ones.
    pitchPx: axis.pitchPx * Math.exp(-mean.value),
    relativeUncertainty: Math.hypot(axis.relativeUncertainty, mean.standardUncertainty),
  };
}
