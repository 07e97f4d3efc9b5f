import type { LatticeFit } from './fitLattice.ts';
import type { meanPitches } from './gauge.ts';
import type { OctaveOdds } from './lattice/weighOctaves.ts';
import type { Alternative } from './measurement.ts';
import type { Rectified } from './rectify.ts';
import type { DecodedPhoto } from './types.ts';

/** Another way to count: factors on the pitches of the chosen one, and how likely it is, that one being 1. */
type Rival = LatticeFit['rivals'][number];

/** Ways less likely than this are not worth a maker's time. */
const LEAST_WEIGHT = 0.01;

/** The chosen reading and the others that the cloth allows, with weights that sum to 1; at most five. */
export function alternativesOf(
  rivals: readonly Rival[],
  octaves: OctaveOdds | null,
  mean: ReturnType<typeof meanPitches>,
  flat: Rectified,
  photo: DecodedPhoto,
): Alternative[] {
  const kept: Rival[] = [];
  for (const one of [{ stitchFactor: 1, rowFactor: 1, weight: 1 }, ...weighed(rivals, octaves)]) {
    const twin = kept.find((other) => isSame(other, one));
    if (twin) twin.weight = Math.max(twin.weight, one.weight);
    else if (one.weight > LEAST_WEIGHT) kept.push({ ...one });
  }
  const total = kept.reduce((s, one) => s + one.weight, 0);
  return kept
    .map(({ stitchFactor, rowFactor, weight }) => {
      const stitchPitch = mean.stitch.pitchPx * stitchFactor;
      const rowPitch = mean.row.pitchPx * rowFactor;
      const per10cm = (pitch: number) => (flat.pxPerMm ? (100 * flat.pxPerMm) / pitch : null);
      return {
        stitchesPer10cm: per10cm(stitchPitch),
        rowsPer10cm: per10cm(rowPitch),
        stitchPitchPx: stitchPitch / photo.decodeScale,
        rowPitchPx: rowPitch / photo.decodeScale,
        weight: weight / total,
      };
    })
    .sort((a, b) => b.weight - a.weight)
    .slice(0, 5);
}

/**
 * The octave check knows best how likely halves and doubles are; no other reading is likelier than it finds all others
 * together. Without it, where the maker counted, the reader's own weights stand.
 */
function weighed(rivals: readonly Rival[], octaves: OctaveOdds | null): Rival[] {
  if (!octaves) return [...rivals];
  const [asRead, ...ways] = octaves.ways;
  const against = (weight: number) => Math.min(1, weight / Math.max(asRead.weight, 1e-6));
  const halves = ways.map(({ stitch, row, weight }) => ({
    stitchFactor: 1 / stitch,
    rowFactor: 1 / row,
    weight: against(weight),
  }));
  const others = rivals
    .filter((rival) => !halves.some((half) => isSame(half, rival)))
    .map((rival) => ({ ...rival, weight: Math.min(rival.weight, against(octaves.other)) }));
  return [...halves, ...others];
}

/** Whether two ways to count differ by less than a tenth on either axis. */
function isSame(a: Rival, b: Rival): boolean {
  return (
    Math.abs(Math.log(a.stitchFactor / b.stitchFactor)) < 0.1 &&
    Math.abs(Math.log(a.rowFactor / b.rowFactor)) < 0.1
  );
}
