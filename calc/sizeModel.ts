import { borderModel } from './borderDepth.ts';
import { propagate } from './propagate.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

/** Stitches of a row on a foundation chain of this length. */
export function stitchesOf(chain: number, spec: Pick<ReadyPlanSpec, 'stitch'>): number {
  return chain - spec.stitch.chainsSkipped + (spec.stitch.skippedChainsCount ? 1 : 0);
}

export interface SizeModel {
  bodyWidthMm: (stitches: number) => Estimate;
  bodyHeightMm: (rows: number) => Estimate;
  /** With the border. */
  widthMm: (stitches: number) => Estimate;
  heightMm: (rows: number) => Estimate;
  borderDepthMm: Estimate;
  borderStitchMm: Estimate;
  roundDepthMm: (round: number) => number;
  /** Expected values alone, for searching: mm with the border. */
  expectedWidthMm: (stitches: number) => number;
  expectedHeightMm: (rows: number) => number;
  /** The model itself, for checking the propagation: independent inputs, and size as a function of them. */
  inputs: Uncertain[];
  widthOf: (stitches: number, values: number[]) => number;
  heightOf: (rows: number, values: number[]) => number;
}

/** Straightness of a hand-worked edge: half a stitch either way between its two sides, rectangular. */
export const EDGE_U_STITCHES = 0.29;

/**
 * Size as a function of the counts, with uncertainty propagated from gauge, first row, edge and border.
 * The border's depth can depend on the gauge, so width and height are propagated as wholes.
 */
export function sizeModel(spec: ReadyPlanSpec): SizeModel {
  const model = spec.border ? borderModel(spec.border, spec.stitch) : null;
  const inputs: Uncertain[] = [
    spec.gauge.stitchesPer10cm,
    spec.gauge.rowsPer10cm,
    spec.practice.firstRowHeightRatio,
    { value: 0, standardUncertainty: EDGE_U_STITCHES },
    ...(model?.inputs ?? []),
  ];
  const stitchMm = (values: number[]): number => 100 / values[0]!;
  const rowMm = (values: number[]): number => 100 / values[1]!;
  const depth = (values: number[]): number => {
    if (!model || !spec.border) return 0;
    let sum = 0;
    for (let round = 1; round <= spec.border.rounds; round++) {
      sum += model.roundDepthMm(round, stitchMm(values), rowMm(values), values.slice(4));
    }
    return sum;
  };
  const bodyWidth = (stitches: number, values: number[]): number =>
    (stitches + values[3]!) * stitchMm(values);
  const bodyHeight = (rows: number, values: number[]): number => (rows - 1 + values[2]!) * rowMm(values);
  const run = (f: (values: number[]) => number): Estimate => {
    const { value, standardUncertainty } = propagate(f, inputs);
    return estimate(value, standardUncertainty, 0);
  };
  const central = inputs.map((each) => each.value);
  const expectedDepth = depth(central);
  const widthOf = (stitches: number, values: number[]): number =>
    bodyWidth(stitches, values) + 2 * depth(values);
  const heightOf = (rows: number, values: number[]): number => bodyHeight(rows, values) + 2 * depth(values);
  return {
    inputs,
    widthOf,
    heightOf,
    expectedWidthMm: (stitches) => bodyWidth(stitches, central) + 2 * expectedDepth,
    expectedHeightMm: (rows) => bodyHeight(rows, central) + 2 * expectedDepth,
    bodyWidthMm: (stitches) => run((values) => bodyWidth(stitches, values)),
    bodyHeightMm: (rows) => run((values) => bodyHeight(rows, values)),
    widthMm: (stitches) => run((values) => widthOf(stitches, values)),
    heightMm: (rows) => run((values) => heightOf(rows, values)),
    borderDepthMm: run(depth),
    borderStitchMm: run((values) =>
      model ? model.stitchMm(stitchMm(values), values.slice(4)) : stitchMm(values),
    ),
    roundDepthMm: (round) =>
      model ? model.roundDepthMm(round, stitchMm(central), rowMm(central), central.slice(4)) : 0,
  };
}
