import type { Swatch } from '../../server/api/schemas.ts';
import type { Measurement } from '../../vision/measurement.ts';
import type { Measured } from '../../vision/types.ts';
import type { PieceGauge } from './gauge-card.tsx';

/** Which gauge the piece goes by. */
export type GaugeChoice =
  | { from: 'measurement' }
  | { from: 'alternative'; index: number }
  | { from: 'hand'; stitchesPer10cm: number; rowsPer10cm: number }
  /** As it was kept with the piece. */
  | { from: 'kept'; gauge: PieceGauge; gaugeFrom: Swatch['gaugeFrom'] };

const COVERAGE_95 = 1.96;
/** Counted by hand over 10 cm: a quarter of a stitch or row either way, or so. */
const HAND_U = 0.25;

function measured(value: number, standardUncertainty: number): Measured {
  return {
    value,
    standardUncertainty,
    low95: value - COVERAGE_95 * standardUncertainty,
    high95: value + COVERAGE_95 * standardUncertainty,
  };
}

/** The gauge the choice stands for, or null while there is none. */
export function gaugeInForce(choice: GaugeChoice, measurement: Measurement | null): PieceGauge | null {
  if (choice.from === 'kept') return choice.gauge;
  if (choice.from === 'hand')
    return {
      stitchesPer10cm: measured(choice.stitchesPer10cm, HAND_U),
      rowsPer10cm: measured(choice.rowsPer10cm, HAND_U),
    };
  const read = measurement?.gauge ?? null;
  if (!read || choice.from === 'measurement') return read;
  const other = measurement?.alternatives[choice.index];
  if (!other || other.stitchesPer10cm === null || other.rowsPer10cm === null) return read;
  // Another count of the same cloth is as sure, relatively, as the first one.
  const like = (from: Measured, value: number) =>
    measured(value, (value * from.standardUncertainty) / from.value);
  return {
    stitchesPer10cm: like(read.stitchesPer10cm, other.stitchesPer10cm),
    rowsPer10cm: like(read.rowsPer10cm, other.rowsPer10cm),
  };
}

/** How the piece remembers where its gauge came from. */
export function gaugeFromOf(choice: GaugeChoice): Swatch['gaugeFrom'] {
  return choice.from === 'kept' ? choice.gaugeFrom : choice.from;
}
