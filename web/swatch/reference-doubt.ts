import type { MeasureOptions, Measurement } from '../../vision/measurement.ts';

/**
 * What is doubtful about the thing the scale was taken from: `unsure` whether it is what it was taken for, or `missing`,
 * which stands for not found and for found but not clear enough. Marks of her own are never doubted here.
 */
export type ReferenceDoubt = 'unsure' | 'missing';

/** By what a photo is refused for its reference alone: with another hint it may well be measured. */
const MISSING = new Set([
  'no-reference',
  'reference-uncertain',
  'which-paper',
  'ruler-units-unclear',
  'ruler-unread',
  'tape-too-far',
]);

export function referenceDoubt(measurement: Measurement | null): ReferenceDoubt | null {
  if (!measurement) return null;
  const codes = measurement.advice.map(({ code }) => code);
  if (!measurement.scale) return codes.some((code) => MISSING.has(code)) ? 'missing' : null;
  return measurement.scale.kind !== 'manual' && codes.includes('reference-unsure') ? 'unsure' : null;
}

/** What may lie in the photo, as she may say it. */
export const REFERENCE_CHOICES = ['card', 'ruler', 'tape', 'a4', 'a5', 'letter', 'sheet'] as const;
export type ReferenceChoice = (typeof REFERENCE_CHOICES)[number];

/** The options that measure again by what she says it is (null: the photo is to say); marks of an earlier try no longer hold. */
export function measuredBy(options: MeasureOptions, choice: ReferenceChoice | null): MeasureOptions {
  const { manual: _manual, paperSize: _paperSize, reference: _reference, ...others } = options;
  if (choice === null) return others;
  return choice === 'a4' || choice === 'a5' || choice === 'letter'
    ? { ...others, reference: 'paper', paperSize: choice }
    : { ...others, reference: choice };
}

/** What she said it is; null while that is left to the photo, or marked by hand. */
export function chosenReference({ reference, paperSize }: MeasureOptions): ReferenceChoice | null {
  return (
    REFERENCE_CHOICES.find((choice) => choice === (reference === 'paper' ? paperSize : reference)) ?? null
  );
}

/** Whether the thing has four corners to set; a ruler or a tape has a length to mark. */
export const hasCorners = ({ scale }: Measurement): boolean =>
  scale?.kind !== 'ruler' && scale?.kind !== 'tape';
