import type { LatticeFit } from './fitLattice.ts';
import type { meanPitches } from './gauge.ts';
import type { Alternative } from './measurement.ts';
import type { Rectified } from './rectify.ts';
import type { DecodedPhoto } from './types.ts';

/** The chosen reading and the others that the cloth allows, with weights that sum to 1; at most five. */
export function alternativesOf(
  rivals: LatticeFit['rivals'],
  countings: { stitch: number; row: number; weight: number }[],
  mean: ReturnType<typeof meanPitches>,
  flat: Rectified,
  photo: DecodedPhoto,
): Alternative[] {
  const best = countings[0];
  const options = [
    { stitchFactor: 1, rowFactor: 1, weight: 1 },
    ...countings.slice(1).map((c) => ({
      stitchFactor: best.stitch / c.stitch,
      rowFactor: best.row / c.row,
      weight: c.weight / best.weight,
    })),
    ...rivals,
  ];
  const kept: typeof options = [];
  for (const one of options) {
    const twin = kept.find(
      (k) =>
        Math.abs(Math.log(k.stitchFactor / one.stitchFactor)) < 0.1 &&
        Math.abs(Math.log(k.rowFactor / one.rowFactor)) < 0.1,
    );
    if (twin) twin.weight = Math.max(twin.weight, one.weight);
    else if (one.weight > 0.01) kept.push({ ...one });
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
