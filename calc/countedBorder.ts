import { borderRounds, type BorderCount } from './borderRounds.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import type { SizeModel } from './sizeModel.ts';

export interface CountedBorder extends Omit<BorderCount, 'rounds'> {
  /** Width of one border stitch. */
  stitchWidthMm: number;
  rounds: (BorderCount['rounds'][number] & { stitchKey: string; colour: string; depthMm: number })[];
}

/**
 * A plan's border around a piece of so many stitches and rows, counted round by round.
 *
 * @returns the edges and the rounds with their stitches, colours and depths; null for a plan without a border
 */
export function countedBorder(
  spec: ReadyPlanSpec,
  size: SizeModel,
  stitches: number,
  rows: number,
): CountedBorder | null {
  const { border } = spec;
  if (!border) return null;
  const counted = borderRounds({
    stitches,
    rows,
    stitchWidthMm: 100 / spec.gauge.stitchesPer10cm.value,
    rowHeightMm: 100 / spec.gauge.rowsPer10cm.value,
    borderStitchMm: size.borderStitchMm.value,
    rounds: border.rounds,
    cornerStitches: border.cornerStitches,
    multiple: border.multiple,
  });
  return {
    ...counted,
    stitchWidthMm: size.borderStitchMm.value,
    rounds: counted.rounds.map((round) => ({
      ...round,
      stitchKey: (round.round === 1 ? border.firstRoundStitch : border.stitch).key,
      colour: border.colours[round.round - 1]!,
      depthMm: size.roundDepthMm(round.round),
    })),
  };
}
