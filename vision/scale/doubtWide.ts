import type { Scale } from '../types.ts';

/** Relative standard uncertainty as far away as the reference is long, from which on a scale is doubtful. */
const WIDE = 0.05;
/** Doubtful scales are measured with, but said to be so: see TRUSTED and `judge`. */
const DOUBTFUL = 0.6;

/** A scale, no surer than doubtful where its plane is so uncertain that the work beside it may be a tenth off. */
export function doubtWide(scale: Scale): Scale {
  const beside = Math.hypot(scale.relativeUncertainty, scale.relativeUncertaintyPerReferenceLength);
  return beside > WIDE ? { ...scale, confidence: Math.min(scale.confidence, DOUBTFUL) } : scale;
}
