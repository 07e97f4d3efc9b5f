import { useEffect, useMemo, useState } from 'react';
import type { Pairing } from '../../server/api/schemas.ts';
import { useSession } from '../account/session.tsx';
import { createPairing, sentenceOf } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';

/** Opens the same piece on a phone of the home network: a square to point its camera at, good once and for a while. */
export function PhoneLink({ pieceId }: { pieceId: string }) {
  const { session } = useSession();
  const [pairing, setPairing] = useState<Pairing | null>(null);
  const [wrong, setWrong] = useState<string | null>(null);
  const square = useMemo(
    () => pairing && URL.createObjectURL(new Blob([pairing.qrSvg], { type: 'image/svg+xml' })),
    [pairing],
  );
  useEffect(() => () => (square ? URL.revokeObjectURL(square) : undefined), [square]);
  if (!session?.isHost) return null;
  if (session.mode === 'local') return <p className="field-help">{text('phone.off')}</p>;
  return (
    <div className="plan-part">
      <button
        type="button"
        className="button"
        onClick={() =>
          createPairing(pieceId)
            .then(setPairing)
            .catch((error: unknown) => setWrong(sentenceOf(error)))
        }
      >
        {text('phone.show')}
      </button>
      {pairing && square && (
        <figure className="phone-link">
          <img src={square} alt={text('phone.square')} width={200} height={200} />
          <figcaption>
            {text('phone.how', {
              url: pairing.url,
              code: pairing.code,
              until: new Intl.DateTimeFormat(undefined, { timeStyle: 'short' }).format(
                new Date(pairing.expiresAt),
              ),
            })}
          </figcaption>
        </figure>
      )}
      <Wrong what={wrong} />
    </div>
  );
}
