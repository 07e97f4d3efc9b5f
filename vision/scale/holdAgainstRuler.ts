import type { Scale } from '../types.ts';
import { centroid, localScale } from './geometry.ts';
import { isRuler } from './isRuler.ts';
import { CERTAIN, DOUBTFUL_AT_MOST, TRUSTED } from './trusted.ts';

/** Both are good to a few per cent where the other lies; tags and cases shaped like a card are a fifth smaller or larger. */
const APART = 0.15;
/** What is shaped like a card and is none. */
const NO_CARD = 0.1;

/**
 * Holds cards and paper against a ruler or tape in the same photo. They are known by their shape alone, which labels and
 * cases share, but ticks say what they are: what a surely read ruler contradicts is no card; where it is not sure of
 * itself, neither is. Where they agree, the card is taken, because its plane is better known.
 *
 * @param found scales of one photo, in any order
 *
 * @example
 * holdAgainstRuler([card, ruler]); // the card as it was, or no longer trusted
 */
export function holdAgainstRuler(found: readonly Scale[]): Scale[] {
  const [ruler] = found.filter(isRuler).sort((p, q) => q.confidence - p.confidence);
  if (!ruler) return [...found];
  const agrees = (one: Scale): boolean => {
    const at = centroid(one.outlinePx);
    return (
      Math.abs(Math.log(localScale(one.homographyPxToMm, at) / localScale(ruler.homographyPxToMm, at))) <
      APART
    );
  };
  const most = ruler.confidence >= CERTAIN ? NO_CARD : ruler.confidence >= TRUSTED ? DOUBTFUL_AT_MOST : 1;
  const held = found.map((one) =>
    isRuler(one) || agrees(one) ? one : { ...one, confidence: Math.min(one.confidence, most) },
  );
  const best = Math.max(0, ...held.filter((one) => !isRuler(one)).map((one) => one.confidence));
  return held.map((one) =>
    isRuler(one) && best >= CERTAIN ? { ...one, confidence: Math.min(one.confidence, 0.99 * best) } : one,
  );
}
