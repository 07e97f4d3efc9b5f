import { mean } from 'simple-statistics';

/** What is needed of a reading: its row, and the photo that it is from. */
export interface PlacedReading {
  row: number;
  photo?: string | undefined;
}

/** Middles of photos that lie farther apart than this share of what one shows are of different parts of the piece. */
const APART = 0.5;

/**
 * Whether photos show parts of a piece that lie far enough apart to tell by themselves which way its tension drifts. Then
 * it does not matter which way up each of them was taken; else it rests on which end of a photo is row 1.
 *
 * @example
 * photosTellDirection([
 *   { row: 1, photo: 'a' },
 *   { row: 20, photo: 'a' },
 *   { row: 60, photo: 'b' },
 *   { row: 80, photo: 'b' },
 * ]); // true
 */
export function photosTellDirection(readings: readonly PlacedReading[]): boolean {
  const photos = [...new Set(readings.map(({ photo }) => photo))].map((photo) =>
    readings.filter((one) => one.photo === photo).map(({ row }) => row),
  );
  if (photos.length < 2) return false;
  const range = (values: readonly number[]): number => Math.max(...values) - Math.min(...values);
  return range(photos.map(mean)) > APART * mean(photos.map(range));
}
