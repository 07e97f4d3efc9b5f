import type { Scale } from '../types.ts';
import { centroid, distance } from './geometry.ts';
import { DOUBTFUL_AT_MOST } from './trusted.ts';

/** Relative standard uncertainty where the work lies, from which on a scale is doubtful. */
const WIDE = 0.05;
/** How far from a reference's middle that of a swatch lies beside it, mm: half of both, and a gap. Common practice. */
const BESIDE_MM = 110;

/**
 * A scale, no surer than doubtful where its plane is so uncertain that the work beside it may be a tenth off: beside a
 * tape that is much nearer than the tape is long, beside a card as far away as the card is long.
 */
export function doubtWide(scale: Scale): Scale {
  const middle = centroid(scale.outlinePx);
  const lengthMm = 2 * scale.mmPerPx * Math.max(...scale.outlinePx.map((p) => distance(p, middle)));
  const lengths = Math.min(1, BESIDE_MM / lengthMm);
  const beside = Math.hypot(scale.relativeUncertainty, lengths * scale.relativeUncertaintyPerReferenceLength);
  return beside > WIDE ? { ...scale, confidence: Math.min(scale.confidence, DOUBTFUL_AT_MOST) } : scale;
}
