import type { BorderSpec } from './readPlanSpec.ts';
import type { Stitch } from './stitches.ts';
import type { Uncertain } from './uncertain.ts';

/** The independent quantities behind a border's size, and how its size follows from them. */
export interface BorderModel {
  inputs: Uncertain[];
  /** Width of one border stitch, mm. */
  stitchMm: (stitchWidthMm: number, values: number[]) => number;
  /** Depth of round `round` (from 1), mm. */
  roundDepthMm: (round: number, stitchWidthMm: number, rowHeightMm: number, values: number[]) => number;
  measured: boolean;
}

/** Border stitch width ÷ body stitch width: nearly 1 for one yarn and hook, whatever the crochet stitch. */
const WIDTH_RATIO: Record<Stitch['craft'], Uncertain> = {
  // sc, hdc and dc of one yarn and hook differ little in width (common practice: one for one along an edge)
  crochet: { value: 1, standardUncertainty: 0.05 },
  // a crocheted edge on knitting is worked with another tool, so it is known less well
  knit: { value: 1.1, standardUncertainty: 0.12 },
};

/**
 * How deep a border becomes: from the measured border swatch when there is one, else from the stitch's
 * usual height-to-width range with its wider uncertainty. A border in the body's own stitch takes the
 * measured row height.
 */
export function borderModel(border: BorderSpec, body: Stitch): BorderModel {
  const widthRatio: Uncertain = border.stitch.craft === body.craft ? WIDTH_RATIO.crochet : WIDTH_RATIO.knit;
  const measured = border.measured;
  const swatchGauge = measured?.stitchesPer10cm ?? null;
  const ownWidth: Uncertain = swatchGauge
    ? {
        value: 100 / swatchGauge.value,
        standardUncertainty:
          (100 / swatchGauge.value) * (swatchGauge.standardUncertainty / swatchGauge.value),
      }
    : widthRatio;
  const stitchMm = (stitchWidthMm: number, values: number[]): number =>
    swatchGauge ? values[0]! : values[0]! * stitchWidthMm;

  if (measured) {
    const perRound: Uncertain = {
      value: measured.depthMm.value / measured.rounds,
      standardUncertainty: measured.depthMm.standardUncertainty / measured.rounds,
    };
    return {
      inputs: [ownWidth, perRound],
      stitchMm,
      roundDepthMm: (_round, _width, _height, values) => values[1]!,
      measured: true,
    };
  }
  const first = border.firstRoundStitch;
  const rest = border.stitch;
  return {
    inputs: [ownWidth, heightRatio(first, body), heightRatio(rest, body)],
    stitchMm,
    roundDepthMm: (round, stitchWidthMm, rowHeightMm, values) => {
      const stitch = round === 1 ? first : rest;
      const factor = round === 1 || first.key === rest.key ? values[1]! : values[2]!;
      return stitch.key === body.key ? factor * rowHeightMm : factor * stitchMm(stitchWidthMm, values);
    },
    measured: false,
  };
}

/** Round depth ÷ border stitch width (or ÷ body row height when it is the body's own stitch). */
function heightRatio(stitch: Stitch, body: Stitch): Uncertain {
  if (stitch.key === body.key) return { value: 1, standardUncertainty: 0.05 };
  const { low, typical, high } = stitch.heightToWidth;
  // the usual range taken as a 95 % interval
  return { value: typical, standardUncertainty: (high - low) / 3.92 };
}
