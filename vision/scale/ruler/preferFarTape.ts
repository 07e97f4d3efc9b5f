import type { Scale } from '../../types.ts';
import { isRuler } from '../isRuler.ts';
import { mmPerPxAt, type PictureSize } from '../lens.ts';
import { DOUBTFUL_AT_MOST, TRUSTED } from '../trusted.ts';
import { centroid } from '../geometry.ts';

/** From so far off small marks run together: mm per decoded px. */
const FAR_MM_PER_PX = 0.18;
/**
 * From so far off ticks that are trusted may yet be others, mm per decoded px: where a millimetre is less than 2.5 px.
 * Nearer, three of 57 development rulers that had been read exactly were taken for tapes twice as large.
 */
const MISREAD_MM_PER_PX = 0.4;
/** Two readings of one tape differ by no more than this at the tape itself (natural logarithm). */
const AGREE = 0.06;

/**
 * Whether a tape is to be looked for by all of its marks at once: where nothing is trusted, or only ticks that were read
 * from so far off that they may be others.
 */
export function isTapeWanted(found: readonly Scale[]): boolean {
  const trusted = found.filter((s) => s.confidence >= TRUSTED);
  return trusted.every((s) => isRuler(s) && s.mmPerPx > MISREAD_MM_PER_PX);
}

/**
 * What was found, with a tape that was read from afar: it comes instead of what ticks said of the same thing, since it is
 * read all along it. Where the two contradict each other both are doubtful.
 */
export function preferFarTape(found: readonly Scale[], far: Scale | null, size: PictureSize): Scale[] {
  if (!far || far.mmPerPx < FAR_MM_PER_PX) return [...found];
  const middle = centroid(far.outlinePx);
  const at = (s: Scale): number => mmPerPxAt(s.homographyPxToMm, s.radialDistortion, middle, size);
  const trusted = found.filter((s) => s.confidence >= TRUSTED);
  const agree = trusted.every((s) => Math.abs(Math.log(at(s) / at(far))) < AGREE);
  // What all of a tape shows is more than what a stretch of it does.
  const doubted = found.map((s) => (trusted.includes(s) ? { ...s, confidence: TRUSTED } : s));
  if (!agree)
    return [
      ...doubted,
      { ...far, confidence: Math.min(far.confidence, DOUBTFUL_AT_MOST), isSurelyRead: false },
    ];
  return far.confidence < DOUBTFUL_AT_MOST && trusted.length > 0 ? [...found] : [...doubted, far];
}
