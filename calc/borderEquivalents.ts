import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { isStitchKey, STITCHES, type Stitch } from './stitches.ts';
import type { Uncertain } from './uncertain.ts';

/** Everything about a border that its yarn depends on. */
export interface BorderYarn {
  stitchWidthMm: number;
  rounds: { colour: string; stitchKey: string; stitches: number; depthMm: number }[];
}

/** Border fabric's yarn per area against the body's: nearly independent of the stitch (windchilde.com). */
export const BORDER_AREA_RATIO: Uncertain = { value: 1, standardUncertainty: 0.07 };

/**
 * The rounds of one colour as stitches of the body: their area over that of a body stitch, weighed by how dense
 * the border's stitch is.
 *
 * @example
 * // 500 border stitches as wide and as high as body stitches, of the body's own stitch, count for 500
 */
export function borderEquivalents(spec: ReadyPlanSpec, border: BorderYarn | null, colour: string): number {
  const stitchMm = 100 / spec.gauge.stitchesPer10cm.value;
  const rowMm = 100 / spec.gauge.rowsPer10cm.value;
  return (border?.rounds ?? [])
    .filter((round) => round.colour === colour)
    .reduce((sum, round) => {
      const area = round.stitches * border!.stitchWidthMm * round.depthMm;
      const dense = densityOf(round.stitchKey, spec) / spec.stitch.yarnPerAreaFactor;
      return sum + (area * dense) / (stitchMm * rowMm);
    }, 0);
}

function densityOf(stitchKey: string, spec: ReadyPlanSpec): number {
  const border = spec.border!;
  const listed: Stitch | undefined = [border.stitch, border.firstRoundStitch].find(
    (each) => each.key === stitchKey,
  );
  return (listed ?? (isStitchKey(stitchKey) ? STITCHES[stitchKey] : spec.stitch)).yarnPerAreaFactor;
}
