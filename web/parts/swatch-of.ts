import { stitchKeyOf } from '../../calc/index.ts';
import type { Swatch } from '../../server/api/schemas.ts';
import { randomId } from '../lib/random-id.ts';
import { gaugeFromOf } from '../swatch/gauge-choice.ts';
import type { Work } from './use-work.ts';

/** The piece's main swatch as it is to be kept: photo, measurement, stitch, and the gauge in force. */
export function swatchOf(work: Work, before: Swatch | null): Swatch {
  const { measuring, gauge, draft, choice, spec } = work;
  const stitch = stitchKeyOf(draft.stitch);
  const grams = spec?.yarn?.swatchWeight?.grams;
  return {
    widthMm: null,
    heightMm: null,
    note: '',
    ...before,
    id: before?.id ?? randomId(),
    role: 'main',
    photoId: measuring.photo?.id ?? before?.photoId ?? null,
    measurementId: measuring.job?.state === 'finished' ? measuring.job.id : (before?.measurementId ?? null),
    stitch,
    gauge,
    gaugeFrom: gauge ? gaugeFromOf(choice) : null,
    weightGrams: typeof grams === 'number' ? grams : null,
  };
}
