import type { Measurement } from '../../vision/measurement.ts';
import type { Measured, WholeCount } from '../../vision/types.ts';

/** 4 in = 101.6 mm; "per 4 in" and "per 10 cm" are 1.6 % apart and never mixed silently. */
const FOUR_INCHES_IN_10CM = 101.6 / 100;

const LABEL_WIDTH = 15;
const line = (label: string, text: string): string => `${label.padEnd(LABEL_WIDTH)}${text}`;

/**
 * A measurement as a few lines of plain text for the terminal.
 *
 * @param isNamed whether the maker named the stitch; else she is told what it was taken for
 * @param overlayPath where the overlay was written, if it was
 * @example
 * describeMeasurement('swatch.jpg', measurement, { isNamed: true });
 * // Photo          swatch.jpg, 4032 × 3024 pixels
 * // Stitches       14.20 ± 0.12 per 10 cm (95 % sure: 13.96 to 14.44), 14.43 per 4 in
 */
export function describeMeasurement(
  photoName: string,
  measurement: Measurement,
  { isNamed, overlayPath }: { isNamed: boolean; overlayPath?: string | undefined },
): string {
  const { photo, scale, gauge, lattice, looksLike, counted, alternatives, advice, status } = measurement;
  const lines = [line('Photo', `${photoName}, ${photo.widthPx} × ${photo.heightPx} pixels`)];
  if (scale) {
    lines.push(
      line(
        'Scale',
        `${scale.kind} (${scale.variety}): ${scale.mmPerPx.toPrecision(4)} mm per pixel ` +
          `± ${percent(scale.relativeUncertainty)}, camera tilted ${scale.tiltDeg.toFixed(0)}°`,
      ),
    );
  }
  if (gauge) {
    lines.push(line('Stitches', describeGauge(gauge.stitchesPer10cm)));
    lines.push(line('Rows', describeGauge(gauge.rowsPer10cm)));
  } else if (lattice) {
    const u = lattice.standardUncertaintyPx;
    lines.push(line('Stitch width', pixels(lattice.stitchPitchPx, u.stitchPitch, lattice.stitchAngleDeg)));
    lines.push(line('Row height', pixels(lattice.rowPitchPx, u.rowPitch, lattice.rowAngleDeg)));
  }
  if (counted.stitches || counted.rows) {
    const parts = [
      counted.stitches && `${numbers(counted.stitches)} stitches`,
      counted.rows && `${numbers(counted.rows)} rows`,
    ];
    lines.push(line('Edge to edge', parts.filter(Boolean).join(', ')));
  }
  const others = alternatives.slice(1).filter((one) => one.weight >= 0.02);
  for (const [i, one] of others.entries()) {
    const numbers =
      one.stitchesPer10cm !== null && one.rowsPer10cm !== null
        ? `${one.stitchesPer10cm.toFixed(1)} stitches, ${one.rowsPer10cm.toFixed(1)} rows per 10 cm`
        : `stitch ${one.stitchPitchPx.toFixed(1)} px, row ${one.rowPitchPx.toFixed(1)} px`;
    lines.push(line(i === 0 ? 'Could also be' : '', `${numbers} (${percent(one.weight, 0)})`));
  }
  const [likely] = looksLike;
  if (lattice && likely && !isNamed) {
    lines.push(
      line('Taken for', `${likely.stitch} (${percent(likely.weight, 0)}): name it with --stitch to be surer`),
    );
  }
  const isCountedOnly = status === 'refused' && (counted.stitches ?? counted.rows) !== null;
  lines.push(line('Verdict', isCountedOnly ? COUNTED_ONLY : VERDICTS[status]));
  for (const [i, one] of advice.entries()) lines.push(line(i === 0 ? 'Advice' : '', one.message));
  if (overlayPath !== undefined) lines.push(line('Picture', overlayPath));
  return lines.join('\n');
}

const VERDICTS: Record<Measurement['status'], string> = {
  ok: 'good: this can be planned with',
  unsure: 'unsure: check it against a few stitches counted by hand',
  refused: 'refused: no number can be trusted here',
};

const COUNTED_ONLY = 'refused: no gauge without something of known size; what was counted needs none';

const percent = (share: number, digits = 1): string => `${(100 * share).toFixed(digits)} %`;

const pixels = (pitchPx: number, uncertaintyPx: number, angleDeg: number): string =>
  `${pitchPx.toFixed(2)} ± ${uncertaintyPx.toFixed(2)} pixels, at ${angleDeg.toFixed(1)}°`;

function describeGauge(gauge: Measured): string {
  const per4in = (gauge.value * FOUR_INCHES_IN_10CM).toFixed(2);
  return (
    `${gauge.value.toFixed(2)} ± ${gauge.standardUncertainty.toFixed(2)} per 10 cm ` +
    `(95 % sure: ${gauge.low95.toFixed(2)} to ${gauge.high95.toFixed(2)}), ${per4in} per 4 in`
  );
}

/** A count, or the two numbers of which either may be right. */
function numbers({ value, orElse }: WholeCount): string {
  const n = Math.round(value);
  if (orElse === undefined || orElse === null) return String(n);
  return `${Math.min(n, orElse)} or ${Math.max(n, orElse)}`;
}
