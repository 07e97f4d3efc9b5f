import type { Piece } from '../../server/api/schemas.ts';
import { copySample, createPiece, listSamples, measure } from '../lib/api.ts';
import type { Preferences } from '../lib/preferences.tsx';
import { randomId } from '../lib/random-id.ts';
import { text } from '../lib/text.ts';
import { FIRST_DRAFT, toSpec } from '../plan/draft.ts';

/** A piece to look around in: the first sample photo, really measured, and a throw planned from it. */
export async function makeSamplePiece(preferences: Preferences): Promise<Piece> {
  const [sample] = await listSamples();
  const photo = sample && (await copySample(sample.name));
  const job =
    photo && (await measure(photo.id, {}, () => undefined, new AbortController().signal, photo.measurement));
  const gauge = job?.measurement?.gauge ?? null;
  return createPiece({
    name: text('sample.name'),
    units: preferences.lengths,
    terms: preferences.terms,
    swatches: [
      {
        id: randomId(),
        role: 'main',
        photoId: photo?.id ?? null,
        measurementId: job?.id ?? null,
        stitch: 'hdc',
        gauge,
        gaugeFrom: gauge ? 'measurement' : null,
      },
    ],
    plan: gauge ? toSpec(FIRST_DRAFT, gauge, preferences) : null,
  });
}
