import type { Measurement } from '../../vision/measurement.ts';

/** A place bears the numbers out when its own stitches and rows are within this share of them. */
const NEAR = 0.05;

/** Places of the fabric that were read on both axes, and how many of them are near the swatch's gauge. */
export function agreementOf({ gauge, localGauge }: Pick<Measurement, 'gauge' | 'localGauge'>): {
  places: number;
  near: number;
} {
  if (!gauge) return { places: 0, near: 0 };
  const isNear = (value: number, whole: number) => Math.abs(value / whole - 1) <= NEAR;
  const read = localGauge.filter(
    (place): place is typeof place & { stitchesPer10cm: number; rowsPer10cm: number } =>
      place.trust > 0 && place.stitchesPer10cm !== null && place.rowsPer10cm !== null,
  );
  const near = read.filter(
    (place) =>
      isNear(place.stitchesPer10cm, gauge.stitchesPer10cm.value) &&
      isNear(place.rowsPer10cm, gauge.rowsPer10cm.value),
  );
  return { places: read.length, near: near.length };
}
