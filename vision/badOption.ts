import { VisionError } from './errors.ts';

/**
 * What can be wrong with one thing that was marked or typed by hand: stable code → what is wrong, what to do.
 *
 * `{count}` and the like are filled in from the error's `reason.values`.
 */
const BAD_OPTIONS = {
  'nothing-marked': ['Nothing was marked by hand.', 'Mark two points and their distance, or four corners.'],
  'length-senseless': ['That length makes no sense.', 'Type a length in millimetres, above zero.'],
  'point-outside': ['A marked point lies outside the photo.', 'Mark it again.'],
  'points-too-close': ['The two points are too close together.', 'Mark them as far apart as you can.'],
  'corners-cross': [
    'The four corners do not make a rectangle.',
    'Mark them one after the other, around the rectangle.',
  ],
  'corners-unlike-size': [
    'These corners cannot be a rectangle of {widthMm} × {heightMm} mm.',
    'Check width and height, and mark the corners in order, starting along the width.',
  ],
  'count-not-positive': ['The count between two marks must be above zero.', 'Count again.'],
  'mark-outside': ['A mark lies outside the photo.', 'Set both marks on the cloth.'],
  'marks-too-close': [
    'The two marks are too close together for a count of {count}.',
    'Mark the first and the last of the stitches or rows that you counted.',
  ],
  'region-outside': ['The chosen region lies outside the picture.', 'Choose it again.'],
  'piece-corners-flat': [
    'The four corners of the piece enclose nothing.',
    'Set each corner mark on one corner of the piece.',
  ],
} as const satisfies Record<string, readonly [message: string, hint: string]>;

export type BadOptionCode = keyof typeof BAD_OPTIONS;
/** Every reason for which an option can be turned down, for those who say it in other words. */
export const BAD_OPTION_CODES = Object.keys(BAD_OPTIONS) as BadOptionCode[];

/**
 * The error for an option that cannot be meant.
 *
 * @param values numbers that belong to the reason; lengths in millimetres
 * @returns a `VisionError` `bad-option`, with what is wrong as `reason`
 *
 * @example
 * throw badOption('marks-too-close', { count: 20 });
 */
export function badOption(code: BadOptionCode, values: Record<string, number> = {}): VisionError {
  const [message, hint] = BAD_OPTIONS[code];
  const filled = message.replace(/\{(\w+)\}/g, (place, name: string) => String(values[name] ?? place));
  return new VisionError('bad-option', filled, hint, { reason: { code, values } });
}
